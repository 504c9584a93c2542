"""A plan in a rider's words, for the terminal and the sheet."""

from __future__ import annotations

import math
from collections.abc import Iterator

from sameloop.compare.decision import CANNOT_TELL, more_laps_words
from sameloop.estimate.result import Comparison
from sameloop.plan.order import Stint, stints_for
from sameloop.plan.precision import MOST_LAPS, Precision
from sameloop.plan.result import Outlook, Plan, Split

_CHANGE_TIME = 15 * 60.0  # s for a stop with a change; common practice, no source


def plan_lines(plan: Plan) -> Iterator[str]:
    """Say the whole plan, the answer first."""
    for outlook in plan.outlooks:
        yield from outlook_lines(outlook, plan)
    if plan.split is not None:
        yield split_line(plan.split, plan)
    yield ""
    yield (
        f"Order (drawn with seed {plan.seed}), about {session_words(plan)} with the changes; "
        "one recording for each stint:"
    )
    for number, stint in enumerate(plan.stints, start=1):
        yield f"  {number}. {stint.setup}: {stint_words(stint)}"
    yield ""
    yield from (f"Note: {note}" for note in plan.notes)
    yield from (f"Note: {line}" for line in doubt_lines(plan))


def outlook_lines(outlook: Outlook, plan: Plan) -> Iterator[str]:
    """Say what is settled, what can be detected, and the laps that the smallest effect needs."""
    at = f"at {plan.speed * 3.6:.3g} km/h"
    each = f"{plan.laps_each} {'more ' if outlook.now else ''}laps of each setup"
    pair = f"{outlook.before} and {outlook.after}"
    if outlook.ridden is not None:
        yield settled_line(outlook.ridden)
    if outlook.now is not None:
        yield (
            f"The laps ridden would show a difference of {_watts(outlook.now.detectable)} between "
            f"{pair} {at} (4 chances in 5 to see it)."
        )
    text = (
        f"With {each} a difference of {_watts(outlook.planned.detectable)} between {pair} {at} "
        "will show (4 chances in 5 to see it, 1 in 20 of a false alarm)"
    )
    if outlook.range is not None:
        low, high = outlook.range
        text += f"; from {_watts(low)} to {_watts(high)} as the day turns out"
    yield text + "."
    yield needed_line(outlook, plan.smallest_effect)


def doubt_lines(plan: Plan) -> Iterator[str]:
    """Say, for those who know standard deviations, what the laps ridden leave in doubt and why."""
    for outlook in plan.outlooks:
        if outlook.now is not None:
            yield _doubt_line(outlook, outlook.now)


def _doubt_line(outlook: Outlook, now: Precision) -> str:
    by_lap, by_stint, stays = (math.sqrt(x) for x in (now.by_lap, now.by_stint, now.stays))
    return (
        f"The doubt about {outlook.before} and {outlook.after}, {_watts(now.sd)} as one standard "
        f"deviation, has three parts, which add up by their squares: {_watts(by_lap)} that more "
        f"laps make smaller, {_watts(by_stint)} that more stints do, and {_watts(stays)} that "
        "neither does."
    )


def settled_line(ridden: Comparison) -> str:
    """Say whether the laps ridden have settled a comparison, which asks less than a plan does."""
    change = f"From {ridden.before} to {ridden.after}"
    if ridden.verdict != CANNOT_TELL:
        return f"{change} is settled ({ridden.verdict}): more laps only sharpen the watts."
    if ridden.more_laps is not None:
        more = more_laps_words(ridden.more_laps)
        return f"{change} is open: about {more} would settle it, if the difference stays."
    return f"{change} is open, and more laps alone would not settle it."


def needed_line(outlook: Outlook, smallest: float) -> str:
    """Say how many laps make the smallest effect detectable."""
    needed, more = outlook.laps_needed, "more " if outlook.now else ""
    if needed is None:
        return (
            f"To see a difference as small as the {smallest:g} W that matter to you, no plan of "
            f"up to {MOST_LAPS} {more}laps of each setup will do. The largest doubt is: "
            f"{outlook.planned.largest}. Choose a calmer day, a more sheltered loop, or a larger "
            "change."
        )
    if needed == 0:
        return f"That is enough to see the {smallest:g} W that matter to you."
    days = "" if needed <= 10 else ", best on several days"
    return (
        f"To see a difference as small as the {smallest:g} W that matter to you takes about "
        f"{needed} {more}laps of each setup, in {stints_for(needed)} stints each{days}."
    )


def split_line(split: Split, plan: Plan) -> str:
    """Say whether air and tyres can be told apart."""
    text = (
        f"One standard deviation of the difference is {split.cda_sd:.2g} m2 of CdA and "
        f"{split.crr_sd:.2g} of Crr"
    )
    if len(plan.powers) == 1:
        return text + "; at one power hardly more than their sum in watts is known."
    if split.separable > 0.5:
        return text + "; the easy and hard laps tell the two apart."
    return text + "; even with easy and hard laps the two are hardly told apart, their sum is."


def stint_words(stint: Stint) -> str:
    """Give the laps of a stint with their powers."""
    last = stint.first_lap + stint.laps - 1
    laps = f"lap {last}" if stint.laps == 1 else f"laps {stint.first_lap}-{last}"
    return f"{laps} at {', '.join(f'{power:.0f}' for power in stint.powers)} W"


def session_words(plan: Plan) -> str:
    """Give the length of the session in quarters of an hour."""
    seconds = plan.laps * plan.lap_time + len(plan.stints) * _CHANGE_TIME
    quarters = math.ceil(seconds / 900)
    return f"{quarters // 4} h {quarters % 4 * 15:02d} min"


def _watts(value: float) -> str:
    return f"{value:.1f} W"
