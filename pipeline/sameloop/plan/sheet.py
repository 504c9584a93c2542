"""What the printed sheet says: one page for the handlebar bag, with room to write."""

from __future__ import annotations

from dataclasses import dataclass

from sameloop.cautions import CAUTIONS
from sameloop.checks import CALM_WIND
from sameloop.plan.result import Plan
from sameloop.plan.words import needed_line, outlook_lines, session_words, stint_words

#: Headings of the columns that the rider fills in, one row for each stint.
BLANKS = (
    "start",
    "mass kg",
    "tyres front / rear",
    "tyre or road °C",
    "zero before / after",
    "wind m/s, from",
)
_LIMIT_FACTOR = 1.5


@dataclass(frozen=True, slots=True, kw_only=True)
class Sheet:
    """The words of the sheet, whatever it is printed with.

    `rows` hold number, setup and laps with powers of each stint; `blanks` head the columns to
    fill in.
    """

    title: str
    facts: tuple[str, ...]
    setups: tuple[str, ...]
    rows: tuple[tuple[str, str, str], ...]
    blanks: tuple[str, ...]
    checklist: tuple[str, ...]
    cautions: tuple[str, ...]


def make_sheet(plan: Plan) -> Sheet:
    """Write the sheet of a plan."""
    return Sheet(
        title=f"Test sheet: {plan.title}",
        facts=_facts(plan),
        setups=tuple(f"{name} = {words}" for name, words in plan.setups),
        rows=tuple(
            (str(number), stint.setup, stint_words(stint))
            for number, stint in enumerate(plan.stints, start=1)
        ),
        blanks=BLANKS,
        checklist=_checklist(plan),
        cautions=CAUTIONS,
    )


def wind_limit(plan: Plan) -> float:
    """Wind at 10 m beyond which the test is not worth riding [m/s]."""
    return max(CALM_WIND, _LIMIT_FACTOR * (plan.wind or 0.0))


def _facts(plan: Plan) -> tuple[str, ...]:
    # For many setups the least sharp pair speaks for all.
    worst = max(plan.outlooks, key=lambda outlook: outlook.planned.detectable)
    return (
        f"{plan.laps_each} laps of each setup on {plan.loop_length / 1000:.2f} km, about "
        f"{session_words(plan)} with the changes.",
        list(outlook_lines(worst, plan))[-2],
        needed_line(worst, plan.smallest_effect),
    )


def _checklist(plan: Plan) -> tuple[str, ...]:
    powers = (
        "Ride each lap at about the power written, by feel; the same position at every power."
        if len(plan.powers) > 1
        else "Ride every lap at about the power written, by feel, in the same position."
    )
    return (
        "Warm up for 15 minutes; tyres and meter take the temperature of the road.",
        "Total mass: weigh rider, bike, clothes and bottles together before every stint.",
        "Tyre pressure with one gauge, and the temperature it was read at, before every stint.",
        "Zero the power meter before every stint, standing, at the temperature of the road, and "
        "look at the zero again after it: the largest movement, in watts, is power_offset_w.",
        "Same clothes, helmet, shoes, bottles and bags in the same places.",
        powers,
        "No drafting and nobody behind: let traffic go, or strike the lap.",
        "Same lane and line, pedalling, seated. Brake whenever you need to and strike that lap; "
        "choose a loop that needs none.",
        f"Wind limit: stop when the nearest station (10 m above ground) reports more than "
        f"{wind_limit(plan):.2g} m/s.",
        "Get off the bike and on again before every stint, also when the setup stays, and start a "
        "new recording: nobody sits quite the same twice, and so each stint counts as one sitting.",
        "Lap button at the same mark on every lap, once.",
        "Stop for the day only at the end of a block, where every setup has had its turn.",
        "Notes, once you have stopped: each lap with a lorry, gust, shower, braking or change of "
        "line; weather of the station every half hour.",
    )
