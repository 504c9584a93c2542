"""Every key that ``study.toml`` may hold: its attribute, its unit and its plausible range."""

from __future__ import annotations

import math

from sameloop.toml_keys import Choice, Key, Number, Numbers, Text, Time, Whole, YesNo

PERCENT = 0.01
HPA = 100.0
CELSIUS = 273.15

STUDY_KEYS = {
    "name": Key("name", Text()),
    "loop": Key("loop", Choice(("closed", "out_and_back", "auto"))),
    "direction": Key("direction", Choice(("same", "either"))),
    "reference_speeds_kmh": Key("reference_speeds", Numbers(Number(5, 120, "km/h", scale=1 / 3.6))),
    "reference_density": Key("reference_density", Number(0.5, 1.6, "kg/m3")),
    "smallest_effect_w": Key("smallest_effect", Number(0.1, 100, "W")),
    "barometric_height": Key("barometric_height", YesNo()),
}
SETUP_KEYS = {
    "id": Key("id", Text(), missing='give the setup a short id, e.g. id = "A"'),
    "name": Key("name", Text(), missing="say in a few words what this setup is"),
    "total_mass_kg": Key(
        "total_mass",
        Number(30, 300, "kg"),
        missing="weigh rider, bike, clothes and bottles together and write the kg",
    ),
    "drivetrain_efficiency": Key("drivetrain_efficiency", Number(0.8, 1, "")),
    "wheel_inertia_kgm2": Key("wheel_inertia", Number(0, 1, "kg m2")),
    "tyre_radius_m": Key("tyre_radius", Number(0.15, 0.45, "m")),
}
PART_KEYS = {
    "name": Key("name", Text(), missing="name the part"),
    "kind": Key("kind", Text(), missing='say what it is, e.g. kind = "tyres"'),
    "price": Key("price", Number(0, 1e6, "")),
    "currency": Key("currency", Text()),
    "mass_kg": Key("mass", Number(0, 50, "kg")),
}
RIDE_KEYS = {
    "file": Key("file", Text(), missing="name the ride file, as it lies in the study folder"),
    "setup": Key("setup", Text()),
    "power_meter": Key("power_meter", Text()),
    "notes": Key("notes", Text(lines=True)),
}
LAP_KEYS = {
    "first": Key("first", Whole(), missing="write the number of the first lap, from 1"),
    "last": Key("last", Whole(), missing="write the number of the last lap"),
    "setup": Key("setup", Text(), missing="write the id of the setup of these laps"),
    "by": Key("by", Choice(("found", "button"))),
}
SPAN_KEYS = {
    "from": Key("start", Time(), missing="write the time at which the span begins"),
    "to": Key("end", Time(), missing="write the time at which the span ends"),
    "setup": Key("setup", Text(), missing="write the id of the setup in this span"),
}
WEATHER_KEYS = {
    "time": Key("time", Time(), missing="write when it was measured, with an offset from UTC"),
    "temperature_c": Key("temperature", Number(-60, 60, "°C", shift=CELSIUS)),
    "pressure_hpa": Key("pressure", Number(500, 1100, "hPa", scale=HPA)),
    "humidity_pct": Key("humidity", Number(0, 100, "%", scale=PERCENT)),
    "wind_speed_ms": Key("wind_speed", Number(0, 60, "m/s")),
    "wind_from_deg": Key("wind_from", Number(0, 360, "degrees", scale=math.pi / 180)),
}
WEATHER_SOURCE_KEYS = {
    "file": Key("file", Text()),
    "metar": Key("metar", Text(lines=True, longest=50_000)),
}
STATION_KEYS = {
    "anemometer_height_m": Key("anemometer_height", Number(0.5, 200, "m")),
    "altitude_m": Key("altitude", Number(-500, 6000, "m")),
}
UNCERTAINTY_KEYS = {
    "mass_kg": Key("mass", Number(0, 20, "kg")),
    "mass_difference_kg": Key("mass_difference", Number(0, 20, "kg")),
    "power_scale_pct": Key("power_scale", Number(0, 20, "%", scale=PERCENT)),
    "power_scale_between_meters_pct": Key(
        "power_scale_between_meters", Number(0, 30, "%", scale=PERCENT)
    ),
    "power_offset_w": Key("power_offset", Number(0, 50, "W")),
    "efficiency": Key("efficiency", Number(0, 0.1, "")),
    "temperature_c": Key("temperature", Number(0, 20, "°C")),
    "pressure_hpa": Key("pressure", Number(0, 100, "hPa", scale=HPA)),
    "wind_station_factor_pct": Key("wind_station_factor", Number(0, 200, "%", scale=PERCENT)),
    "wheel_circumference_pct": Key("wheel_circumference", Number(0, 10, "%", scale=PERCENT)),
    "air_speed_pct": Key("air_speed", Number(0, 50, "%", scale=PERCENT)),
    "air_speed_between_rides_pct": Key(
        "air_speed_between_rides", Number(0, 20, "%", scale=PERCENT)
    ),
}
TOP_KEYS = ("study", "setups", "rides", "weather", "weather_station", "uncertainty")
