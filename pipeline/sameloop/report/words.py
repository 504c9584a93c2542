"""The answer in a rider's words: every sentence that more than one output says."""

from __future__ import annotations

import math
from collections.abc import Sequence

from sameloop.estimate.result import Comparison, Quantity, Warning_, WattsDifference
from sameloop.report.rounding import decimals_for_interval, fixed
from sameloop.study import Setup, Study

KMH = 3.6
NOTHING_WEAK = "Nothing weak was found in these rides."
INTERVAL, INTERVAL_BY_ITSELF = "95 % interval", "95 % interval by itself"


def verdict_sentence(comparison: Comparison, study: Study) -> str:
    """Say the verdict in one sentence.

    Parameters
    ----------
    comparison : Comparison
    study : Study
        For the rider's own threshold.
    """
    after = f"setup {comparison.after}"
    speed = speed_words(comparison.watts[0].speed)
    if comparison.looks > 1:
        speed += f" against setup {comparison.before}"
    watts = comparison.judged
    change = change_words(watts)
    interval = f"{interval_name(comparison.looks)} {interval_words(watts)}"
    limit = f"{study.smallest_effect:g} W"
    match comparison.verdict:
        case "helped" | "made it worse":
            less = f", but by less than the {limit} you care about" if comparison.also_small else ""
            verdict = comparison.verdict.capitalize()
            return f"{verdict}: {after} {change} at {speed}{less} ({interval})."
        case "too small to matter":
            speed = speed_words(comparison.watts[0].speed)
            return (
                f"Too small to matter: {after} differs from setup {comparison.before} by less than "
                f"{limit} at {speed}; best guess: it {change} ({interval})."
            )
        case "cannot tell" if not watts.low <= 0 <= watts.high:
            return (
                f"Cannot tell yet: best guess, {after} {change} at {speed} ({interval}), but no "
                "verdict is given."
            )
        case "cannot tell":
            return (
                f"Cannot tell yet: best guess, {after} {change} at {speed}, but the {interval} "
                "holds other answers too."
            )
        case other:
            raise ValueError(f"unknown verdict {other!r}")


def interval_name(looks: int) -> str:
    """Name the interval by which each of several statements is judged."""
    return INTERVAL if looks == 1 else f"95 % interval for all {looks} statements at once"


def separable_sentence(comparison: Comparison) -> str:
    """Say whether the laps tell air drag from rolling resistance."""
    if comparison.separable:
        return (
            "The laps tell air drag (CdA) and rolling resistance (Crr) apart, as closely as their "
            "intervals say."
        )
    return (
        "Trust the watts at the speeds ridden, not their split into air drag (CdA) and rolling "
        "resistance (Crr): laps at clearly different speeds would separate the two."
    )


def warning_sentence(warning: Warning_) -> str:
    """Say a warning after the place it is about, unless its words name that already."""
    text = f"{warning.text.rstrip('.')}."
    named = not warning.where or text.startswith((f"Setup {warning.where} ", f"{warning.where} "))
    return text if named else f"{warning.where}: {text}"


def doubt_sentence(warnings: Sequence[Warning_]) -> str | None:
    """Say the worst of the warnings, to stand right under the verdict; None without any."""
    return f"What to doubt first: {warning_sentence(warnings[0])}" if warnings else None


def change_words(watts: Quantity, unit: str = "W") -> str:
    """Say a difference with a verb: a negative one saves, a positive one costs."""
    verb = "saves" if watts.value <= 0 else "costs"
    return f"{verb} {_size(watts.value, _decimals(watts))} {unit}"


def interval_words(watts: Quantity, unit: str = "W") -> str:
    """Say the interval of a difference after its verb.

    With verbs of its own when it holds savings and costs, the likelier side first.
    """
    if not (math.isfinite(watts.low) and math.isfinite(watts.high)):
        return "without bounds"
    decimals = _decimals(watts)
    low, high = _size(watts.low, decimals), _size(watts.high, decimals)
    if watts.high <= 0:
        return f"{high} to {low} {unit}"
    if watts.low >= 0:
        return f"{low} to {high} {unit}"
    if watts.value <= 0:
        return f"from saving {low} to costing {high} {unit}"
    return f"from costing {high} to saving {low} {unit}"


def quantity_words(
    quantity: Quantity, *, signed: bool = False, decimals: int | None = None
) -> tuple[str, str]:
    """Round a quantity to the digits it deserves, or to `decimals`: its value, and its interval."""
    decimals = _decimals(quantity) if decimals is None else decimals
    value, low, high = (
        _signed(number, decimals) if signed else _plain(number, decimals)
        for number in (quantity.value, quantity.low, quantity.high)
    )
    return value, f"{low} to {high}"


def split_words(quantity: Quantity, *, told: bool, signed: bool = False) -> tuple[str, str]:
    """Round a CdA or a Crr, in brackets where the laps have not `told` the two apart."""
    value, interval = quantity_words(quantity, signed=signed)
    return (value, interval) if told else (f"({value})", f"({interval})")


def split_title(comparisons: Sequence[Comparison]) -> str:
    """Head the table of CdA and Crr, and say what its brackets mean."""
    brackets = "" if all(one.separable for one in comparisons) else "; in brackets: not told apart"
    return f"Air drag, rolling resistance and mass{brackets}"


def is_told(setup: str, comparisons: Sequence[Comparison]) -> bool:
    """Whether any comparison of a setup tells CdA from Crr."""
    return any(one.separable for one in comparisons if setup in (one.before, one.after))


def speed_words(speed: float) -> str:
    """Say a speed [m/s] in km/h."""
    return f"{speed * KMH:.3g} km/h"


def clock(seconds: float) -> str:
    """Say a time as h:min:s or min:s."""
    minutes, rest = divmod(round(seconds), 60)
    hours, minutes = divmod(minutes, 60)
    return f"{hours}:{minutes:02d}:{rest:02d}" if hours else f"{minutes}:{rest:02d}"


def setup_words(setup: Setup) -> str:
    """Name a setup by its id and its name."""
    return f"{setup.id}, {setup.name}"


def watts_row(item: WattsDifference) -> tuple[str, str, str]:
    """Give speed, watts and interval of one reference speed, rounded."""
    value, interval = quantity_words(item.watts, signed=True)
    return speed_words(item.speed), value, interval


def defaults_lines(defaulted: Sequence[str]) -> list[str]:
    """List the defaults that were taken, one line for each kind of table, equal ones once."""
    tables: dict[str, dict[str, None]] = {}
    for entry in defaulted:
        place, value = entry.split(" = ", 1)
        *table, key = (word for word in place.split() if not word.isdigit())
        tables.setdefault(" ".join(table), {})[f"{key} = {value}"] = None
    return [f"{table} {', '.join(values)}" for table, values in tables.items()]


def _decimals(quantity: Quantity) -> int:
    return decimals_for_interval(quantity.value, quantity.sd, quantity.low, quantity.high)


def _size(value: float, decimals: int) -> str:
    return fixed(abs(value), decimals)


def _plain(value: float, decimals: int) -> str:
    return fixed(value, decimals) if math.isfinite(value) else "unbounded"


def _signed(value: float, decimals: int) -> str:
    text = _plain(value, decimals)
    return text if text.startswith(("-", "u")) or float(text) == 0 else f"+{text}"
