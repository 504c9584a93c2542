"""Air density, and wind at rider height."""

from sameloop.air.along_ride import ride_air
from sameloop.air.conditions import RideAir
from sameloop.air.density import air_density

__all__ = ["RideAir", "air_density", "ride_air"]
