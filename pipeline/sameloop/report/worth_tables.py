"""What a study is worth on a course, as plain JSON types; docs/worth.md describes them."""

from __future__ import annotations

import math
from typing import Any

from sameloop.answer import Answer
from sameloop.compare.part_changes import Change
from sameloop.report.numbers import quantity_dict
from sameloop.report.tables import study_files
from sameloop.report.worth_text import assumptions
from sameloop.worth.difference import Worth
from sameloop.worth.gearing import Cover, Gears, GearUse
from sameloop.worth.money import Kept, Offer
from sameloop.worth.on_course import CourseAnswer
from sameloop.worth.ratio import Ratio

SCHEMA = 1
RPM = 60.0


def worth_dict(found: CourseAnswer, answer: Answer) -> dict[str, Any]:
    """Give everything as dicts, lists, text and finite numbers; unknown is None.

    Parameters
    ----------
    found : CourseAnswer
    answer : Answer
        What it was carried over from; its files are told, see `sameloop.stale`.
    """
    course, day = found.course, found.day
    return {
        "schema": SCHEMA,
        "study": {"name": answer.study.name, "files": study_files(answer.study)},
        "inputs": [{"file": ride.file, "sha256": ride.sha256} for ride in answer.rides],
        "course": {
            "name": course.name,
            "file": course.file or None,
            "sha256": course.sha256 or None,
            "length_m": course.length,
            "climb_m": course.climb,
            "steepest_grade": float(course.grade[course.steepest]),
        },
        "day": {
            "density_kgm3": day.density,
            "wind_speed_ms": day.wind_speed,
            "wind_from_deg": math.degrees(day.wind_from),
        },
        "intervals": {"statements": found.terms.statements, "level": found.terms.level},
        "no_verdict": found.terms.unsound or None,
        "pacing": found.pacing.words,
        "top_speed_kmh": found.top_speed * 3.6,
        "differences": [_worth(worth) for worth in found.worths],
        "offers": [_offer(offer) for offer in found.offers],
        "savings_kept": [_kept(kept) for kept in found.kept],
        "not_told": [{"label": one.change.label, "why": one.why} for one in found.untold],
        "next_test": None
        if found.next_test is None
        else {
            "label": found.next_test.label,
            "expected_swaps": found.next_test.swaps,
            "why": found.next_test.why,
        },
        "gears": None if found.gear_use is None else _gears(found.gear_use),
        "steepest": None
        if found.cover is None or found.gears is None
        else _cover(found.cover, found.gears),
        "assumptions": list(assumptions(found)),
    }


def _worth(worth: Worth) -> dict[str, Any]:
    return {
        "before": worth.before,
        "after": worth.after,
        "time_before_s": quantity_dict(worth.time_before),
        "time_after_s": quantity_dict(worth.time_after),
        "mean_power_w": worth.watts_before,
        "delta_seconds": quantity_dict(worth.seconds),
        "delta_watts": quantity_dict(worth.watts),
        "verdict": worth.verdict,
        "separable": worth.separable,
        "causes": [
            {
                "name": cause.name,
                "delta_seconds": quantity_dict(cause.seconds),
                "delta_watts": quantity_dict(cause.watts),
            }
            for cause in worth.causes
        ],
    }


def _offer(offer: Offer) -> dict[str, Any]:
    return _change(offer.change) | {
        "delta_seconds": quantity_dict(offer.seconds),
        "delta_watts": quantity_dict(offer.watts),
        "verdict": offer.verdict,
        "price_per_second": _ratio(offer.per_second),
        "price_per_watt": _ratio(offer.per_watt),
        "ahead_of_next": offer.ahead_of_next,
    }


def _change(change: Change) -> dict[str, Any]:
    return {
        "label": change.label,
        "added": [part.name for part in change.added],
        "removed": [part.name for part in change.removed],
        "alone": change.alone,
        "price": change.price,
        "currency": change.currency,
    }


def _kept(kept: Kept) -> dict[str, Any]:
    return {
        "cheaper": kept.cheaper.label,
        "dearer": kept.dearer.label,
        "share": _ratio(kept.share),
        "price_less": kept.money,
        "currency": kept.currency,
    }


def _gears(use: GearUse) -> dict[str, Any]:
    return {
        "times": [
            {"label": entry.label, "ratio": entry.ratio, "seconds": entry.seconds}
            for entry in use.times
        ],
        "pedalling_s": use.pedalling,
        "coasting_s": use.coasting,
        "no_gear_s": use.unmatched,
        "below_comfortable": use.too_slow,
        "above_comfortable": use.too_fast,
    }


def _cover(cover: Cover, gears: Gears) -> dict[str, Any]:
    return {
        "gears": gears.words,
        "at_km": cover.station / 1000,
        "grade": cover.grade,
        "speed_kmh": cover.speed * 3.6,
        "cadence_rpm": cover.cadence * RPM,
        "ratio_wanted": cover.wanted,
        "covered": cover.covered,
    }


def _ratio(ratio: Ratio | None) -> dict[str, float] | None:
    if ratio is None:
        return None
    return {"value": ratio.value, "low": ratio.low, "high": ratio.high}
