"""A plan as plain JSON types."""

from __future__ import annotations

import math
from typing import Any

from sameloop.plan.precision import Precision
from sameloop.plan.result import Outlook, Plan

SCHEMA = 1


def plan_dict(plan: Plan) -> dict[str, Any]:
    """Give the plan as dicts, lists, text and finite numbers; what is unknown is None.

    Parameters
    ----------
    plan : Plan

    Returns
    -------
    dict
        Ready for ``json.dumps(..., allow_nan=False)``.
    """
    return {
        "schema": SCHEMA,
        "title": plan.title,
        "setups": [{"id": name, "name": words} for name, words in plan.setups],
        "loop_length_m": plan.loop_length,
        "lap_time_s": plan.lap_time,
        "wind_forecast_ms": plan.wind,
        "smallest_effect_w": plan.smallest_effect,
        "speed_kmh": round(plan.speed * 3.6, 6),
        "power_levels_w": list(plan.powers),
        "seed": plan.seed,
        "stints": [
            {
                "block": stint.block,
                "setup": stint.setup,
                "first_lap": stint.first_lap,
                "lap_powers_w": list(stint.powers),
            }
            for stint in plan.stints
        ],
        "outlooks": [_outlook(outlook) for outlook in plan.outlooks],
        "split": None
        if plan.split is None
        else {
            "cda_sd": plan.split.cda_sd,
            "crr_sd": plan.split.crr_sd,
            "separable_share": plan.split.separable,
        },
        "notes": list(plan.notes),
    }


def _outlook(outlook: Outlook) -> dict[str, Any]:
    return {
        "before": outlook.before,
        "after": outlook.after,
        "now": None if outlook.now is None else _precision(outlook.now),
        "planned": _precision(outlook.planned),
        "detectable_range_w": None if outlook.range is None else list(outlook.range),
        "laps_needed_each": outlook.laps_needed,
    }


def _precision(precision: Precision) -> dict[str, Any]:
    return {
        "laps_each": precision.laps,
        "stints_each": precision.stints,
        "detectable_w": precision.detectable,
        "sd_w": precision.sd,
        "df": precision.df if math.isfinite(precision.df) else None,
        "sd_by_lap_w": math.sqrt(precision.by_lap),
        "sd_by_stint_w": math.sqrt(precision.by_stint),
        "sd_stays_w": math.sqrt(precision.stays),
        "largest_source": precision.largest,
    }
