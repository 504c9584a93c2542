"""What the fit shows of the rides themselves: faults, single laps that decide, winds, residuals."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

from threadpoolctl import threadpool_limits

from sameloop.air.conditions import RideAir
from sameloop.compare.differences import difference_weights
from sameloop.estimate.diagnostics.faults import Faults, find_faults
from sameloop.estimate.diagnostics.influence import Influence, without_each_lap
from sameloop.estimate.diagnostics.residuals import Residuals, all_residuals
from sameloop.estimate.diagnostics.rest import Rest, as_fitted
from sameloop.estimate.diagnostics.winds import WindGap, wind_gap
from sameloop.estimate.result import Comparison, Estimate
from sameloop.road.stretches import Stretches
from sameloop.study import Study


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Diagnosis:
    """Everything that can be doubted from the fit alone.

    Parameters
    ----------
    faults : Faults
        Odd laps, jumps, drifts, odd places, setups whose laps disagree.
    influence : tuple of Influence
        For each comparison, what leaving out each lap does to its first watts [W].
    winds : WindGap or None
    residuals : Residuals
    """

    faults: Faults
    influence: tuple[Influence, ...]
    winds: WindGap | None
    residuals: Residuals


def diagnose(
    estimate: Estimate,
    stretches: Stretches,
    study: Study,
    airs: Sequence[RideAir],
    comparisons: Sequence[Comparison],
) -> Diagnosis:
    """Look for what is wrong with the rides.

    Parameters
    ----------
    estimate : Estimate
    stretches : Stretches
        The same that the estimate was made from.
    study : Study
    airs : sequence of RideAir
    comparisons : sequence of Comparison
    """
    with threadpool_limits(limits=1):  # many small matrices, as in the estimate
        rest = as_fitted(estimate.fit)
        return Diagnosis(
            faults=find_faults(estimate.fit, stretches, study, airs),
            influence=tuple(_influence(rest, study, one) for one in comparisons),
            winds=wind_gap(rest, stretches),
            residuals=all_residuals(estimate.fit, stretches),
        )


def _influence(rest: Rest, study: Study, one: Comparison) -> Influence:
    first = one.watts[0]
    weights = difference_weights(rest.fit, study, one.before, one.after, first.speed)
    found = without_each_lap(rest, weights)
    # Leaving a lap out takes the slopes for constant; what scatter and slopes add to the whole is
    # added to what each lap moves.
    widened = first.watts.sd / math.sqrt(weights @ rest.inverse @ weights)
    return replace(found, change_sd=widened * found.change_sd, sd=widened * found.sd)
