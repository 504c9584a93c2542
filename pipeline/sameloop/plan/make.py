"""Make a plan: from a few numbers, or from a study that was ridden already."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence

import numpy as np

from sameloop.answer import Answer
from sameloop.estimate.layout import mountings
from sameloop.estimate.result import Comparison
from sameloop.plan.order import Stint, draw_order, lap_powers, stints_for
from sameloop.plan.precision import MOST_LAPS, Precision, precision_of
from sameloop.plan.result import Outlook, Plan, Split
from sameloop.plan.trial import Day, Progress, try_plan
from sameloop.plan.wish import Wish
from sameloop.report.tables import time_mean

_SETUPS = (("A", "as it is"), ("B", "with the change"))
_FAR = 1.5  # a forecast for more laps than this many times those tried is tried as well
_MOST_TRIED = 12  # laps of each setup; more take longer than a rider waits
_SESSION = (4, 10)  # laps of each setup on a further day, fewest and most proposed


def plan(
    basis: Wish | Answer,
    *,
    laps: int | None = None,
    separate: bool = True,
    seed: int = 1,
    progress: Progress | None = None,
) -> Plan:
    """Plan a test: what it can detect, how many laps it needs, and in which order to ride.

    Parameters
    ----------
    basis : Wish or Answer
        A few numbers, from which days of riding are simulated; or the answer of a study, whose
        own scatter tells what further laps would bring.
    laps : int, optional
        Laps of all setups together on the further day; only with an answer.
    separate : bool
        Ride easy and hard laps; only with an answer, as a wish has its own.
    seed : int
        Of the order; only with an answer.
    progress : callable, optional
        Told what is being done and the fraction done.

    Returns
    -------
    Plan

    Raises
    ------
    SameloopError
        No simulated day of the plan gives an answer.
    """
    if isinstance(basis, Wish):
        return _from_numbers(basis, progress)
    return _from_answer(basis, laps, separate, seed)


def _from_numbers(wish: Wish, progress: Progress | None) -> Plan:
    powers = lap_powers(wish.power, separate=wish.separate)
    days, stints = _try(wish, wish.laps_each, progress)
    tried = [day.precision for day in days]
    middle = days[len(days) // 2]
    # What more laps would bring is scaled from the trial that is nearest to them.
    nearest = middle.precision
    needed = laps_needed(nearest.at, wish.smallest_effect)
    more = min(needed or _MOST_TRIED, _MOST_TRIED)
    if more > _FAR * wish.laps_each:
        further, _ = _try(wish, more, progress)
        nearest = further[len(further) // 2].precision
        needed = laps_needed(nearest.at, wish.smallest_effect)
    outlook = Outlook(
        before="A",
        after="B",
        now=None,
        planned=middle.precision,
        range=(tried[0].detectable, tried[-1].detectable),
        laps_needed=needed,
    )
    return Plan(
        title=f"{wish.laps_each} + {wish.laps_each} laps of {wish.loop_length / 1000:g} km",
        setups=_SETUPS,
        stints=stints,
        outlooks=(outlook,),
        split=Split(
            cda_sd=middle.cda_sd,
            crr_sd=middle.crr_sd,
            separable=float(np.mean([day.separable for day in days])),
        ),
        loop_length=wish.loop_length,
        lap_time=middle.lap_time,
        wind=wish.wind,
        smallest_effect=wish.smallest_effect,
        speed=wish.speed,
        powers=powers,
        seed=wish.seed,
        notes=_simulated_notes(wish, len(days)),
    )


def _try(
    wish: Wish, laps_each: int, progress: Progress | None
) -> tuple[tuple[Day, ...], tuple[Stint, ...]]:
    powers = lap_powers(wish.power, separate=wish.separate)
    stints = draw_order([name for name, _ in _SETUPS], laps_each, powers, seed=wish.seed)
    return try_plan(wish, stints, progress=progress), stints


def _simulated_notes(wish: Wish, days: int) -> tuple[str, ...]:
    notes = [
        f"Simulated on {days} days of that forecast, on an invented {wish.course} road of your "
        "loop's length, with gusts, an unsteady rider and a meter as usual; your road and your "
        "day will differ.",
    ]
    if wish.laps % 2:
        notes.append("Both setups get the same number of laps, so one lap is left over.")
    return tuple(notes)


def laps_needed(at: Callable[[int, int], Precision], smallest: float) -> int | None:
    """Fewest laps of each setup that make the smallest effect detectable."""
    for laps in range(2, MOST_LAPS + 1):
        if at(laps, stints_for(laps)).sees(smallest):
            return laps
    return None


def _from_answer(answer: Answer, laps: int | None, separate: bool, seed: int) -> Plan:
    study = answer.study
    ids = [entry.id for entry in answer.estimate.setups]
    now = [_ridden(answer, comparison) for comparison in answer.comparisons]
    needed = [_further(precision, study.smallest_effect) for precision in now]
    each = _session(needed, now) if laps is None else max(laps // len(ids), 2)
    used = [lap for lap in answer.lapset.laps if lap.used]
    tracks = answer.tracks
    usual = float(
        np.mean([time_mean(tracks[p.ride].power[p.index], tracks[p.ride].time[p.index])
                 for p in used])
    )  # fmt: skip
    powers = lap_powers(usual, separate=separate)
    return Plan(
        title=study.name,
        setups=tuple((setup.id, setup.name) for setup in study.setups if setup.id in ids),
        stints=draw_order(ids, each, powers, seed=seed),
        outlooks=tuple(
            Outlook(
                before=comparison.before,
                after=comparison.after,
                now=precision,
                planned=_with_further(precision, each),
                range=None,
                laps_needed=more,
                ridden=comparison,
            )
            for comparison, precision, more in zip(answer.comparisons, now, needed, strict=True)
        ),
        split=None,
        loop_length=answer.lapset.loop.length,
        lap_time=float(np.mean([lap.end - lap.start for lap in used])),
        wind=None,
        smallest_effect=study.smallest_effect,
        speed=study.reference_speeds[0],
        powers=powers,
        seed=seed,
        notes=_ridden_notes(answer),
    )


def _ridden(answer: Answer, comparison: Comparison) -> Precision:
    """Sharpness of the laps ridden, which are `laps` of the setup that has fewer."""
    stretches = answer.stretches
    ids = [setup.id for setup in answer.study.setups]
    mine = [stretches.setup == ids.index(name) for name in (comparison.before, comparison.after)]
    runs = mountings(stretches)
    return precision_of(
        comparison,
        laps=min(int(each.sum()) for each in mine),
        stints=min(len(np.unique(runs[each])) for each in mine),
    )


def _with_further(now: Precision, laps: int) -> Precision:
    return now.at(now.laps + laps, now.stints + stints_for(laps))


def _further(now: Precision, smallest: float) -> int | None:
    """Further laps of each setup until the smallest effect is detectable; 0 when it is."""
    if now.sees(smallest):
        return 0
    for laps in range(2, MOST_LAPS + 1):
        if _with_further(now, laps).sees(smallest):
            return laps
    return None


def _session(needed: Sequence[int | None], now: Sequence[Precision]) -> int:
    """Laps of each setup to propose for one more day."""
    fewest, most = _SESSION
    wanted = [more if more else now[k].laps for k, more in enumerate(needed)]
    return int(np.clip(max(wanted), fewest, most))


def _ridden_notes(answer: Answer) -> tuple[str, ...]:
    notes = ["From the scatter of the laps already ridden; another day's wind will differ."]
    mean = math.fsum(entry.speed.value for entry in answer.estimate.wind)
    if answer.estimate.wind:
        mean /= len(answer.estimate.wind)
        notes.append(f"The wind at rider height then was about {mean:.1f} m/s.")
    confounded = ("day_confounded", "meter_confounded")
    notes += [f"{item.text}." for item in answer.warnings if item.code in confounded]
    return tuple(notes)
