"""Parts, residuals, influence and findings as plain JSON types; part of the results contract."""

from __future__ import annotations

from typing import Any

import numpy as np

from sameloop.answer import Answer
from sameloop.clean.track import FloatArray
from sameloop.compare.parts import PartEffect, PartsModel
from sameloop.estimate.diagnostics.faults import Finding
from sameloop.estimate.diagnostics.shapes import Drift, Jump, OddLap, Patch
from sameloop.report.numbers import iso, number, quantity_dict
from sameloop.report.rounding import fixed
from sameloop.study import Part

KMH = 3.6
_KINDS = {OddLap: "odd_lap", Jump: "jump_in_ride", Drift: "power_drift", Patch: "odd_place"}


def parts_dict(parts: PartsModel) -> dict[str, Any]:
    """Give what each part does, and what cannot be told."""
    return {
        "speed_kmh": round(parts.speed * KMH, 6),
        "effects": [_effect(one) for one in parts.effects],
        "not_told": [
            {"label": one.change.label, "kind": one.change.kind, "why": one.why}
            for one in parts.untold
        ],
        "add_up": None if parts.add_up is None else number(parts.add_up),
    }


def _effect(one: PartEffect) -> dict[str, Any]:
    return {
        "label": one.change.label,
        "kind": one.change.kind,
        "alone": one.change.alone,
        "added": _names(one.change.added),
        "removed": _names(one.change.removed),
        "delta_watts": quantity_dict(one.watts),
        "together": {"level": one.together.level} | quantity_dict(one.together),
        "verdict": one.decision.verdict,
        "why": one.decision.why,
    }


def _names(parts: tuple[Part, ...]) -> list[str]:
    return [part.name for part in parts]


def residuals_dict(answer: Answer) -> dict[str, Any]:
    """Give the residual along the road, per lap and over time; what has no laps is null."""
    found, stretches = answer.diagnosis.residuals, answer.stretches
    laps = found.laps
    setups = [entry.id for entry in answer.estimate.setups]
    return {
        "along_road": {
            "ends_m": _list(found.road_ends, 1),
            "setups": [
                {"setup": name, "force_n": _list(force, 3)}
                for name, force in zip(setups, found.on_road, strict=True)
            ],
        },
        "laps": [
            _lap(answer, lap)
            | {
                "time": iso(float(laps.time[lap])),
                "force_n": number(laps.force[lap]),
                "power_w": number(laps.power[lap]),
            }
            for lap in range(len(stretches.ride))
        ],
        "over_time": [
            {
                "ride": answer.study.rides[ride].file,
                "time": [iso(float(time)) for time in trace.time],
                "lap": [int(stretches.number[lap]) for lap in trace.lap],
                "force_n": _list(trace.force, 3),
                "usual_sd_n": _list(trace.sd, 3),
            }
            for ride, trace in found.rides.items()
        ],
    }


def influence_list(answer: Answer) -> list[dict[str, Any]]:
    """Give for each comparison and lap what the watts would be without that lap."""
    out = []
    for index, (one, influence) in enumerate(
        zip(answer.comparisons, answer.diagnosis.influence, strict=True)
    ):
        value = one.watts[0].watts.value
        for lap, (change, sd) in enumerate(zip(influence.change, influence.change_sd, strict=True)):
            out.append(
                {"comparison": index}
                | _lap(answer, lap)
                | {
                    "delta_watts_without": number(value + change),
                    "change_w": number(change),
                    "usual_change_sd_w": number(sd),
                }
            )
    return out


def findings_list(answer: Answer) -> list[dict[str, Any]]:
    """Give every force that cannot be luck: what it is, where, when and how large."""
    return [_finding(answer, one) for one in answer.diagnosis.faults.findings]


def _finding(answer: Answer, one: Finding) -> dict[str, Any]:
    shape = one.shape
    place: dict[str, Any] = dict.fromkeys(("ride", "number", "setup", "time", "from_m", "to_m"))
    if isinstance(shape, OddLap | Jump):
        place |= _lap(answer, shape.lap)
    if isinstance(shape, Jump):
        place["time"] = iso(shape.time)
    if isinstance(shape, Drift):
        place["ride"] = answer.study.rides[shape.ride].file
    if isinstance(shape, Patch):
        place |= {"from_m": number(shape.start), "to_m": number(shape.end)}
        names = answer.study.rides, answer.study.setups
        of_ride = shape.kind == "ride"
        place["ride"] = names[0][shape.index].file if of_ride else None
        place["setup"] = None if of_ride else names[1][shape.index].id
    return {
        "code": _KINDS[type(shape)],
        **place,
        "size": number(one.amplitude),
        "sd": number(one.sd),
        "unit": "W/h" if isinstance(shape, Drift) else "N",
    }


def _lap(answer: Answer, lap: int) -> dict[str, Any]:
    stretches, study = answer.stretches, answer.study
    return {
        "ride": study.rides[stretches.ride[lap]].file,
        "number": int(stretches.number[lap]),
        "setup": study.setups[stretches.setup[lap]].id,
    }


def _list(values: FloatArray, decimals: int) -> list[float | None]:
    return [float(fixed(v, decimals)) if np.isfinite(v) else None for v in values]
