"""What a study is worth on a course, for the terminal: words first, then numbers and doubts."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from rich.console import Group, RenderableType
from rich.text import Text

from sameloop.estimate.result import Quantity, Warning_
from sameloop.report.parts_words import untold_words
from sameloop.report.rounding import decimals_or_default, fixed
from sameloop.report.text import list_item, plain_table
from sameloop.report.words import (
    change_words,
    clock,
    doubt_sentence,
    interval_words,
    speed_words,
    split_words,
)
from sameloop.worth.course import HEIGHT_SMOOTHING
from sameloop.worth.difference import Worth
from sameloop.worth.gearing import Cover, Gears, GearUse
from sameloop.worth.money import Kept, Offer
from sameloop.worth.on_course import CourseAnswer
from sameloop.worth.ratio import Ratio
from sameloop.worth.terms import CANNOT_TELL, COSTS, SAVES, Terms

CAUSE_WORDS = {
    "aero": "air drag",
    "rolling": "rolling resistance",
    "mass": "mass",
    "drivetrain": "drivetrain",
}
_STYLES = {SAVES: "bold green", COSTS: "bold red", CANNOT_TELL: "bold yellow"}
GEAR_HEADINGS = ("gear", "ratio", "min:s", "share")
CAUTION = (
    "Seconds are never worth a risk: ride within the traffic law and the road, look ahead on "
    "descents, and leave a position that you cannot brake and steer from."
)


def format_worth(found: CourseAnswer) -> RenderableType:
    """Lay out what the setups are worth on a course, the answer first."""
    parts: list[RenderableType] = [Text(course_sentence(found))]
    parts += [Text(line) for line in leading_sentences(found.terms, found.doubts)]
    for worth in found.worths:
        parts += _worth(worth, found)
    parts += _money(found)
    parts += _gears(found)
    parts += [Text(), Text("What this assumes", style="bold")]
    parts += [list_item(line) for line in assumptions(found)]
    parts += [Text(), Text(CAUTION)]
    return Group(*parts)


def course_sentence(found: CourseAnswer) -> str:
    """Say which road it was, and the power on it."""
    course = found.course
    return (
        f"On {course.name}: {course.length / 1000:.2f} km, about {course.climb:.0f} m of climbing. "
        f"{found.pacing.words}"
    )


def leading_sentences(terms: Terms, doubts: Sequence[Warning_]) -> tuple[str, ...]:
    """Say why intervals are wider than those of one statement, or no verdict; and what to doubt."""
    said = []
    if terms.statements > 1:
        said.append(
            f"The study makes {terms.statements} statements, so each has its "
            f"{interval_at(terms.level)} here, as it is judged in the comparison, which calls it "
            f"the interval for all {terms.statements} statements at once: all of them hold "
            "together at 95 %."
        )
    if terms.unsound:
        said.append(f"No verdict is given. {terms.unsound}")
    doubt = doubt_sentence(doubts)
    if doubt is not None:
        said.append(doubt)
    return tuple(said)


def interval_at(level: float) -> str:
    """Name an interval by its level, to the digit that tells it from others."""
    percent = f"{100 * level:.1f}".removesuffix(".0")
    return f"{percent} % interval"


def assumptions(found: CourseAnswer) -> tuple[str, ...]:
    """Everything taken for granted, one sentence each."""
    priced = any(offer.change.price is not None for offer in found.offers)
    return (
        *found.course.assumptions,
        *found.day.assumptions,
        f"Every setup starts rolling, at the same speed, and brakes above "
        f"{found.top_speed * 3.6:.0f} km/h; nobody slows for corners or traffic, or rides in "
        "another's slipstream.",
        "The intervals hold what the laps leave open; course, weather and power count as exact.",
        *(
            ["Prices are those of the parts added; what the old part would fetch is not counted."]
            * priced
        ),
    )


def _worth(worth: Worth, found: CourseAnswer) -> Iterator[RenderableType]:
    yield Text()
    yield Text(worth_sentence(worth, found.terms), style=_STYLES[worth.verdict])
    yield Text(times_sentence(worth, found.course.length))
    table = plain_table(*cause_headings(found.terms))
    for row in cause_rows(worth):
        table.add_row(*row)
    yield table
    yield from map(Text, split_sentences(worth))


def worth_sentence(worth: Worth, terms: Terms) -> str:
    """Say what the change is worth in one sentence."""
    words = f"setup {worth.after} {change_words(worth.seconds, 's')} against {worth.before}"
    interval = f"{interval_at(worth.seconds.level)} {interval_words(worth.seconds, 's')}"
    if worth.verdict != CANNOT_TELL:
        return f"{words[:1].upper()}{words[1:]} ({interval})."
    if terms.unsound:
        return f"Cannot tell yet: best guess, {words} ({interval}), but no verdict is given."
    return f"Cannot tell yet: best guess, {words}, but the {interval} holds other answers too."


def times_sentence(worth: Worth, length: float) -> str:
    """Say the two times over the course's length [m], and the watts in the same time."""
    return (
        f"From {clock(worth.time_before.value)} to {clock(worth.time_after.value)}. In the same "
        f"time, at {speed_words(length / worth.time_before.value)} on average, it "
        f"{change_words(worth.watts)} of {worth.watts_before:.0f} W "
        f"({interval_at(worth.watts.level)} {interval_words(worth.watts)})."
    )


def cause_headings(terms: Terms) -> tuple[str, ...]:
    """Give the headings of `cause_rows`."""
    interval = interval_at(terms.level)
    return ("from", "seconds", interval, "watts", interval)


def cause_rows(worth: Worth) -> tuple[tuple[str, ...], ...]:
    """Give the rows under `cause_headings`, the sum last; in brackets what is not told apart."""
    causes = [(CAUSE_WORDS[cause.name], cause.seconds, cause.watts) for cause in worth.causes]
    untold = () if worth.separable else (CAUSE_WORDS["aero"], CAUSE_WORDS["rolling"])
    return tuple(
        (words, *(cell for one in (seconds, watts) for cell in _cells(one, words not in untold)))
        for words, seconds, watts in (*causes, ("together", worth.seconds, worth.watts))
    )


def split_sentences(worth: Worth) -> tuple[str, ...]:
    """Say what the brackets of `cause_rows` mean, where there are any."""
    if worth.separable:
        return ()
    return (
        "In brackets: the laps do not tell air drag from rolling resistance; trust what they come "
        "to together.",
    )


def _cells(quantity: Quantity, told: bool) -> tuple[str, str]:
    if quantity.sd == 0 and quantity.value == 0:
        return "0", ""
    return split_words(quantity, told=told, signed=True)


def _money(found: CourseAnswer) -> Iterator[RenderableType]:
    if not found.offers and not found.untold:
        return
    yield Text()
    yield Text("Parts and money, best bargain first", style="bold")
    for number, offer in enumerate(found.offers, start=1):
        yield list_item(offer_words(offer), mark=f"{number}.")
    for kept in found.kept:
        yield list_item(kept_words(kept, found.terms))
    for one in found.untold:
        yield list_item(untold_words(one))
    if found.next_test is not None:
        yield list_item(
            f"Test next: {found.next_test.label}, because {found.next_test.why} "
            f"(it would change {found.next_test.swaps:.1f} places of the ranking on average)."
        )


def offer_words(offer: Offer) -> str:
    """Say one offer: what it saves, what that costs, and how sure its place is."""
    change = offer.change
    price = "" if change.price is None else f", {change.price:g} {change.currency}"
    bundle = "" if change.alone else " (never taken apart)"
    start = f"{change.label}{price}{bundle}: "
    interval = f"({interval_at(offer.seconds.level)} {interval_words(offer.seconds, 's')})"
    saved = change_words(offer.seconds, "s")
    if offer.verdict == COSTS:
        return f"{start}costs time {interval}."
    if offer.verdict == CANNOT_TELL:
        return f"{start}cannot tell; best guess, it {saved} {interval}."
    words = f"{start}{saved} {interval}"
    for ratio, unit in ((offer.per_second, "second"), (offer.per_watt, "watt")):
        if ratio is not None:
            value, bounds = ratio_words(ratio)
            words += f"; {value} {change.currency} per {unit} ({bounds})"
    if change.price is None:
        words += "; no price known"
    order = {True: " Surely a better bargain than the next.", None: ""}
    return (
        words
        + "."
        + order.get(
            offer.ahead_of_next, " The laps do not tell whether the next is the better bargain."
        )
    )


def kept_words(kept: Kept, terms: Terms) -> str:
    """Say what a cheaper part keeps of a dearer one's saving."""
    start = f"{kept.cheaper.label} costs {kept.money:g} {kept.currency} less than "
    start += f"{kept.dearer.label} and keeps "
    if kept.share is None:
        return start + "a share of its saving that the laps cannot tell."
    share = kept.share
    return start + (
        f"{share.value:.0%} of its saving "
        f"({interval_at(terms.level)} {share.low:.0%} to {share.high:.0%})."
    )


def ratio_words(ratio: Ratio) -> tuple[str, str]:
    """Say a ratio and its interval, to the digits it deserves."""
    decimals = max(decimals_or_default(ratio.value, (ratio.high - ratio.low) / 4), 0)
    value, low, high = (fixed(v, decimals) for v in (ratio.value, ratio.low, ratio.high))
    return value, f"{low} to {high}"


def _gears(found: CourseAnswer) -> Iterator[RenderableType]:
    if found.gear_use is not None:
        yield Text()
        yield Text("Gears in the laps", style="bold")
        table = plain_table(*GEAR_HEADINGS)
        for row in gear_rows(found.gear_use):
            table.add_row(*row)
        yield table
        yield Text(cadence_sentence(found.gear_use, found.comfortable))
    if found.gears is not None:
        yield Text()
        yield Text(cover_words(found.cover, found.gears, found.comfortable))


def gear_rows(use: GearUse) -> tuple[tuple[str, ...], ...]:
    """Give the rows under `GEAR_HEADINGS`, from easy to hard."""

    def spent(seconds: float) -> tuple[str, str]:
        return clock(seconds), f"{seconds / use.pedalling:.0%}"

    rows = [(entry.label, f"{entry.ratio:.2f}", *spent(entry.seconds)) for entry in use.times]
    if use.unmatched:
        rows.append(("no gear of the bike", "", *spent(use.unmatched)))
    return tuple(rows)


def cadence_sentence(use: GearUse, comfortable: tuple[float, float]) -> str:
    """Say how much was pedalled outside the comfortable cadence [1/s]."""
    low, high = (60 * cadence for cadence in comfortable)
    return (
        f"Cadence below {low:.0f}/min {use.too_slow:.0%} and above {high:.0f}/min "
        f"{use.too_fast:.0%} of the pedalling; {clock(use.coasting)} not pedalled."
    )


def cover_words(cover: Cover | None, gears: Gears, comfortable: tuple[float, float]) -> str:
    """Say whether the easiest gear covers the steepest stretch at a comfortable cadence [1/s]."""
    low, high = comfortable
    easiest = f"{min(gears.rings)}x{max(gears.sprockets)}"
    if cover is None:
        return f"The course has no climb that would ask anything of {gears.words}."
    start = (
        f"Steepest {2 * HEIGHT_SMOOTHING:.0f} m: {cover.grade:.1%} at "
        f"{cover.station / 1000:.1f} km, ridden at {cover.speed * 3.6:.1f} km/h"
    )
    if cover.cadence > high:
        return f"{start}. That needs no low gear: {gears.words} covers it."
    start += f". {easiest} turns at {60 * cover.cadence:.0f}/min there"
    if cover.covered:
        return f"{start}: {gears.words} covers it."
    return (
        f"{start}, below your {60 * low:.0f}/min: {gears.words} does not cover it; a ratio of "
        f"{cover.wanted:.2f} would."
    )
