"""The air that a ride went through, as the weather says before any lap is looked at."""

from __future__ import annotations

from dataclasses import dataclass

from sameloop.clean.track import FloatArray


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class RideAir:
    """Air along one ride.

    Parameters
    ----------
    time : array, (n_times,)
        Unix time [s], increasing; density and wind are linear in between.
    density : array, (n_times,)
        Moist-air density [kg/m3].
    density_sd_shared : float
        Relative standard deviation of the density that all rides of one weather source share [-].
    density_sd : float
        Relative standard deviation of this ride's own density [-].
    wind_east, wind_north : array, (n_times,)
        Prior mean of the wind *velocity* (where the air goes to) at rider height [m/s].
    wind_sd : float
        Standard deviation of this ride's mean wind about that prior, each component [m/s].
    wind_factor_sd, wind_turn_sd : float
        By how much all reports of the weather source may be wrong alike, standard deviations:
        share of the wind's speed [-] and turn of its direction [rad].
    wind_known : bool
        False when no weather source gave a wind: the prior is then zero and wide.
    assumptions : tuple of str
        What had to be assumed (e.g. standard atmosphere), each one sentence for the report.
    """

    time: FloatArray
    density: FloatArray
    density_sd_shared: float
    density_sd: float
    wind_east: FloatArray
    wind_north: FloatArray
    wind_sd: float
    wind_known: bool
    assumptions: tuple[str, ...] = ()
    wind_factor_sd: float = 0.0
    wind_turn_sd: float = 0.0
