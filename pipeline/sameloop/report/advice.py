"""What would change the answer: one line from the largest part of the uncertainty."""

from __future__ import annotations

from sameloop.compare.decision import more_laps_words
from sameloop.estimate.result import Comparison
from sameloop.study import Study

#: By the start of a source's name in the budget; what a rider can do about it.
_REMEDIES = {
    "gusts": "a calmer day or a more sheltered loop would sharpen it most",
    "wind report": "riding both setups on one day, in the same wind, would sharpen it most",
    "wind": "a calmer day or a more sheltered loop would sharpen it most",
    "shelter": "a calmer day or a more sheltered loop would sharpen it most",
    "power offset": "more rides, the meter zeroed before each, would sharpen it",
    "posture": "changing setups more often, a few laps each, would sharpen it",
    "lap to lap": "more laps, ridden more evenly, would sharpen it",
    "lap length": "more laps on end, the lap button pressed at one line, would sharpen it",
    "power scale between meters": "riding both setups with one meter would sharpen it most",
    "mass": "weighing each setup better would sharpen it most",
    "air density": "pressure and temperature from nearer by would sharpen it",
    "plausible": "laps at clearly different speeds would sharpen it most",
}
_NO_WEATHER = "temperature and pressure of the day under [[weather]] would sharpen it most"
_OTHERWISE = "more laps would sharpen it"


def change_line(comparison: Comparison, study: Study) -> str:
    """Say in one line what would change or sharpen a comparison's answer.

    Parameters
    ----------
    comparison : Comparison
    study : Study
        For whether there is weather that could be better.
    """
    if comparison.more_laps is not None:
        return (
            f"About {more_laps_words(comparison.more_laps)} would settle it, if the difference "
            "stays."
        )
    largest = max(comparison.budget, key=lambda line: line.delta_watts_sd, default=None)
    if largest is None:
        return "Nothing is known of where the doubt comes from."
    remedies = _REMEDIES if study.weather else _REMEDIES | {"air density": _NO_WEATHER}
    remedy = next(
        (words for start, words in remedies.items() if largest.source.startswith(start)),
        _OTHERWISE,
    )
    whole = comparison.watts[0].watts.sd
    return (
        f"The largest part of the doubt is {largest.source} ({largest.delta_watts_sd:.1f} W of "
        f"{whole:.1f} W, standard deviations): {remedy}."
    )
