"""The answer as plain JSON types: the results contract, schema 1."""

from __future__ import annotations

import math
import platform
from importlib.metadata import version
from typing import Any

import numpy as np

from sameloop import __version__
from sameloop.answer import Answer, StudyLaps
from sameloop.clean.track import FloatArray
from sameloop.estimate.result import Comparison, SetupEstimate, WindEstimate
from sameloop.laps.lap import Lap, Loop
from sameloop.report.numbers import iso, number, quantity_dict
from sameloop.report.tables_diagnosis import (
    findings_list,
    influence_list,
    parts_dict,
    residuals_dict,
)
from sameloop.study import Study

SCHEMA = 1
KMH = 3.6
SOFTWARE = ("numpy", "scipy", "pandas", "fitdecode", "lxml")
CLIMB_SMOOTHING = 50.0  # m; a barometer's steps are no hills


def results_dict(answer: Answer) -> dict[str, Any]:
    """Give the whole answer as dicts, lists, text and finite numbers.

    Parameters
    ----------
    answer : Answer

    Returns
    -------
    dict
        Ready for ``json.dumps(..., allow_nan=False)``; what is unknown or unbounded is None.
    """
    files = [ride.file for ride in answer.study.rides]
    estimate = answer.estimate
    return {
        "schema": SCHEMA,
        "study": _study(answer.study),
        "software": _software(),
        "inputs": _inputs(answer),
        "loop": _loop(answer.lapset.loop),
        "laps": [lap_dict(answer, lap) for lap in answer.lapset.laps],
        "rides": [
            {
                "file": files[ride],
                "setup": entry.id,
                "cda": quantity_dict(entry.cda),
                "crr": quantity_dict(entry.crr),
            }
            for ride, entry in zip(estimate.ride_index, estimate.rides, strict=True)
        ],
        "setups": [_setup(entry) for entry in estimate.setups],
        "wind": [_wind(entry, files) for entry in estimate.wind],
        "comparisons": [_comparison(entry) for entry in answer.comparisons],
        "budget": [
            {
                "comparison": index,
                "source": line.source,
                "delta_watts_sd": number(line.delta_watts_sd),
            }
            for index, entry in enumerate(answer.comparisons)
            for line in entry.budget
        ],
        "parts": parts_dict(answer.parts),
        "residuals": residuals_dict(answer),
        "influence": influence_list(answer),
        "findings": findings_list(answer),
        "warnings": [
            {"code": item.code, "text": item.text, "where": item.where} for item in answer.warnings
        ],
    }


def lap_dict(found: StudyLaps, lap: Lap) -> dict[str, Any]:
    """Give one lap as the results contract has it; means over the lap's own samples."""
    track = found.tracks[lap.ride]
    power, time = track.power[lap.index], track.time[lap.index]
    distance = track.distance[lap.index]
    return {
        "ride": found.study.rides[lap.ride].file,
        "number": lap.number,
        "start": iso(lap.start),
        "end": iso(lap.end),
        "setup": lap.setup,
        "used": bool(lap.used),
        "reason": lap.reason,
        "mean_power_w": number(time_mean(power, time)),
        "mean_speed_ms": number(_rate(distance, time)),
    }


def time_mean(values: FloatArray, time: FloatArray) -> float:
    """Mean over time by the trapezium rule, intervals with a missing end left out."""
    if values.size < 2:
        return math.nan
    middle, step = (values[1:] + values[:-1]) / 2, np.diff(time)
    known = np.isfinite(middle)
    total = float(step[known].sum())
    return float((middle[known] * step[known]).sum()) / total if total > 0 else math.nan


def climb(loop: Loop) -> float:
    """Metres climbed on one pass [m], on a profile smoothed over 50 m; NaN without altitude."""
    if loop.station.size < 2 or not np.isfinite(loop.altitude).any():
        return math.nan
    known = np.isfinite(loop.altitude)
    coarse = np.arange(0.0, loop.length + CLIMB_SMOOTHING / 2, CLIMB_SMOOTHING)
    fine = np.interp(loop.station, loop.station[known], loop.altitude[known])
    bins = np.digitize(loop.station, coarse)
    means = np.array([fine[bins == number].mean() for number in np.unique(bins)])
    ring = np.append(means, means[0]) if loop.closed else means
    return float(np.clip(np.diff(ring), 0.0, None).sum())


def _rate(distance: FloatArray, time: FloatArray) -> float:
    if time.size < 2:
        return math.nan
    return float((distance[-1] - distance[0]) / (time[-1] - time[0]))


def _study(study: Study) -> dict[str, Any]:
    return {
        "name": study.name,
        "reference_speeds_kmh": [round(speed * KMH, 6) for speed in study.reference_speeds],
        "reference_density": study.reference_density,
        "smallest_effect_w": study.smallest_effect,
        "setups": [
            {
                "id": setup.id,
                "name": setup.name,
                "total_mass_kg": setup.total_mass,
                "drivetrain_efficiency": setup.drivetrain_efficiency,
                "wheel_inertia_kgm2": setup.wheel_inertia,
                "tyre_radius_m": setup.tyre_radius,
            }
            for setup in study.setups
        ],
        "defaults_taken": list(study.defaulted),
        "files": study_files(study),
    }


def study_files(study: Study) -> list[dict[str, str]]:
    """Give the files beside the rides that a study is made of, with their hashes."""
    return [{"file": name, "sha256": digest} for name, digest in study.sources]


def _software() -> dict[str, str]:
    names = {name: version(name) for name in SOFTWARE}
    return {
        "name": "sameloop",
        "version": __version__,
        "python": platform.python_version(),
    } | names


def _inputs(answer: Answer) -> list[dict[str, Any]]:
    return [
        {
            "file": ride.file,
            "sha256": ride.sha256,
            "format": ride.format,
            "samples": len(ride.samples),
            "power_meter": entry.power_meter,
            "power_lag_s": number(track.power_lag),
            "speed_source": track.speed_source,
            "assumptions": list(air.assumptions),
            "dropped": [
                {"reason": item.reason, "count": item.count, "seconds": number(item.seconds)}
                for item in track.dropped
            ],
        }
        for ride, entry, track, air in zip(
            answer.rides, answer.study.rides, answer.tracks, answer.airs, strict=True
        )
    ]


def _loop(loop: Loop) -> dict[str, Any]:
    return {
        "length_m": number(loop.length),
        "closed": bool(loop.closed),
        "climb_m": number(climb(loop)),
    }


def _setup(entry: SetupEstimate) -> dict[str, Any]:
    return {
        "id": entry.id,
        "cda": quantity_dict(entry.cda),
        "crr": quantity_dict(entry.crr),
        "correlation": number(entry.correlation),
        "laps": int(entry.laps),
    }


def _wind(entry: WindEstimate, files: list[str]) -> dict[str, Any]:
    return {
        "ride": files[entry.ride],
        "speed_ms": quantity_dict(entry.speed),
        "from_deg": quantity_dict(entry.wind_from, 180 / math.pi),
    }


def _comparison(entry: Comparison) -> dict[str, Any]:
    return {
        "before": entry.before,
        "after": entry.after,
        "delta_cda": quantity_dict(entry.delta_cda),
        "delta_crr": quantity_dict(entry.delta_crr),
        "correlation": number(entry.correlation),
        "delta_mass_kg": number(entry.delta_mass),
        "delta_watts": [
            {"speed_kmh": round(item.speed * KMH, 6)} | quantity_dict(item.watts)
            for item in entry.watts
        ],
        "judged": {"statements": entry.looks, "level": entry.judged.level}
        | quantity_dict(entry.judged),
        "verdict": entry.verdict,
        "separable": bool(entry.separable),
        "why": entry.why,
    }
