"""How the answer moves with a pull on the unknowns.

The information matrix takes the slopes for constant. They are not: drag is the product of CdA and
wind, so where wind is strong, a wrong wind changes what the laps say of CdA; and they are taken at
the predicted speed, while the residual is at the measured one. Left out is that the predicted speed
and the noise follow the unknowns, and how the columns of declared inputs change.

Second derivatives count by what the fit leaves, which is noise. Where a sensor measures the air,
what it leaves would decide: claims were up to four times as large as errors, and single ones far
larger. There slopes count as they are, and their change does not.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from sameloop.clean.track import FloatArray
from sameloop.estimate.air_rows import air_scale_error
from sameloop.estimate.balance import Balance, air_flow
from sameloop.estimate.lap_wind import Wind, wind_at
from sameloop.estimate.layout import Layout
from sameloop.estimate.linear import LinearModel
from sameloop.estimate.noise import wind_kept
from sameloop.estimate.solve import Step
from sameloop.road.stretches import IntArray, Stretches

_HEAD, _SIDE = 1, 2  # what drag is a function of, after CdA
#: Among the unknowns of a lap; CdA comes first.
_WINDS, _RIDE_WIND, _LAP_WIND, _SHELTER = slice(1, 5), slice(1, 3), slice(3, 5), slice(5, None)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Response:
    """What the information matrix lacks of the derivative of the estimating equations.

    Parameters
    ----------
    columns : int array, (n_columns,)
        Unknowns that change the slopes, or by which residual and model have other slopes.
    lacking : array, (n_columns, size)
        What is missing from these columns of the matrix, one below the other.
    turn : array, (n_columns, n_columns)
        Inverse of the derivative over the information, by these unknowns.
    """

    columns: IntArray
    lacking: FloatArray
    turn: FloatArray

    def gains(self, inverse: FloatArray, weights: FloatArray) -> FloatArray:
        """By how much weighted sums of the unknowns move with a pull on each unknown.

        Parameters
        ----------
        inverse : array, (size, size)
            Of the information matrix.
        weights : array, (k, size)

        Returns
        -------
        array, (size, k)

        References
        ----------
        Implicit function theorem; Woodbury 1950 for the inverse (from memory).
        """
        plain = inverse @ weights.T
        return np.asarray(plain - inverse[:, self.columns] @ (self.turn @ (self.lacking @ plain)))

    def left_to_go(self, inverse: FloatArray, change: FloatArray) -> FloatArray:
        """How far the root is, ``(size,)``, by the last change that the information gave.

        Where the derivative all but vanishes, changes are small long before the root is near.
        """
        turned = self.turn.T @ change[self.columns]
        return np.asarray(change - inverse @ (self.lacking.T @ turned))


def response(
    layout: Layout,
    balance: Balance,
    stretches: Stretches,
    model: LinearModel,
    solved: Step,
    x: FloatArray,
) -> Response:
    """Second derivatives of the rows by CdA, winds and shelter, and slopes at the measured speed.

    Parameters
    ----------
    x : array, (layout.size,)
        Unknowns at rest.

    References
    ----------
    Full Hessian against the Gauss-Newton one: Nocedal & Wright 2006, Numerical Optimization,
    section 10.2, from memory.
    """
    cda, n = x[layout.cda][layout.group], model.n_forces
    calm, wind = (wind_at(layout, balance, stretches, x, with_laps=laps) for laps in (False, True))
    predicted = _drag_slopes(balance, model.speed, calm, cda)
    measured = _drag_slopes(balance, balance.speed, wind, cda)
    own, kept = _own_unknowns(layout, stretches), wind_kept(balance.mid_time)
    columns, scale = np.unique(own), air_scale_error(layout, x)
    lacking = np.zeros((len(columns), layout.size))
    n_air = solved.left.shape[1] - n
    bends = None if n_air else _drag_bends(balance, model.speed, calm, cda)
    for lap, mine in enumerate(own):
        towards = _towards(balance.sin[lap], balance.cos[lap], kept[lap])
        by, by_measured = (_chain(towards, one, lap, len(mine)) for one in (calm, wind))
        lift = np.zeros((n + n_air, len(mine)))
        lift[:n] = np.einsum("an,amn->nm", measured[:, lap], by_measured)
        lift[:n] -= np.einsum("an,amn->nm", predicted[:, lap], by)
        lift[:n] *= balance.usable[lap][:, None]
        if layout.n_knots:
            off = scale[lap]
            more = wind.open_head[lap] - (1 - off) * calm.open_head[lap]
            lift[n:, _SHELTER] = (more[:, None] * calm.hats[lap])[:n_air]
            lift[n:, _RIDE_WIND] = (off * towards[0, :2] * calm.factor[lap]).T[:n_air]
            lift[n:] *= balance.air_usable[lap][:, None]
        here, pulled = np.searchsorted(columns, mine), lift.T @ solved.weight[lap]
        lacking[np.ix_(here, model.local_index[lap])] += pulled @ model.local[lap]
        lacking[np.ix_(here, model.road_index[lap])] += pulled[:, :n] * model.road_gain[lap]
        if bends is not None:
            force = (solved.weight[lap] @ solved.left[lap]) * balance.usable[lap]
            pulls = bends[:, :, lap] * force, predicted[1:, lap] * force
            lacking[np.ix_(here, mine)] -= _bent(*pulls, by, towards, calm.hats[lap]).T
    turn = np.linalg.inv(np.eye(len(columns)) + lacking @ solved.inverse[:, columns])
    return Response(columns=columns, lacking=lacking, turn=np.asarray(turn, dtype=np.float64))


def _bent(
    bends: FloatArray,
    wind_pull: FloatArray,
    by: FloatArray,
    towards: FloatArray,
    hats: FloatArray,
) -> FloatArray:
    """Second derivatives of a lap's drag, weighed by what it leaves, ``(n_own, n_own)``.

    Parameters
    ----------
    bends : array, (3, 3, n)
        By CdA, head and side wind.
    wind_pull : array, (2, n)
        First ones by head and side wind, which are wind times shelter.
    by, towards, hats : array, (3, n_own, n), (2, 4, n), (n, n_knots)
    """
    bent = _flat(np.einsum("abn,bmn->amn", bends, by)) @ _flat(by).T
    if hats.shape[1]:
        twice = np.einsum("an,amn->mn", wind_pull, towards) @ hats
        bent[_WINDS, _SHELTER] += twice
        bent[_SHELTER, _WINDS] += twice.T
        bent[:, _LAP_WIND] = 0.0  # slopes are those without the laps' own winds
    return np.asarray(bent)


def _own_unknowns(layout: Layout, stretches: Stretches) -> IntArray:
    """Each lap's CdA, ride wind, lap wind and shelter, ``(n_laps, n_own)``."""
    cda = layout.cda[layout.group][:, None]
    if not layout.n_knots:
        return cda
    shelter = np.tile(layout.shelter, (layout.n_laps, 1))
    return np.hstack([cda, layout.ride_wind[stretches.ride], layout.lap_wind, shelter])


def _towards(sin: FloatArray, cos: FloatArray, kept: FloatArray) -> FloatArray:
    """Head and side wind by the ride's east and north wind, then by the lap's, ``(2, 4, n)``."""
    ride = np.array([[-sin, -cos], [cos, -sin]])
    return np.concatenate([ride, ride * kept], axis=1)


def _chain(towards: FloatArray, wind: Wind, lap: int, count: int) -> FloatArray:
    """CdA, head and side wind by each of a lap's `count` unknowns, ``(3, count, n)``."""
    out = np.zeros((3, count, towards.shape[2]))
    out[0, 0] = 1.0
    if count > 1:
        out[1:, _WINDS] = towards * wind.factor[lap]
        out[_HEAD, _SHELTER] = wind.hats[lap].T * wind.open_head[lap]
        out[_SIDE, _SHELTER] = wind.hats[lap].T * wind.open_side[lap]
    return out


def _flat(of_unknowns: FloatArray) -> FloatArray:
    """``(3, n_own, n)`` to ``(n_own, 3 n)``."""
    return np.asarray(np.swapaxes(of_unknowns, 0, 1).reshape(of_unknowns.shape[1], -1))


def _drag_slopes(balance: Balance, speed: FloatArray, wind: Wind, cda: FloatArray) -> FloatArray:
    """Drag by CdA, head and side wind, ``(3, n_laps, n)``."""
    flow = air_flow(balance, speed, wind.head, wind.side, 0.0)
    return np.stack([flow.force, cda[:, None] * flow.along, cda[:, None] * flow.across])


def _drag_bends(balance: Balance, speed: FloatArray, wind: Wind, cda: FloatArray) -> FloatArray:
    """Second derivatives of the drag by CdA, head and side wind, ``(3, 3, n_laps, n)``."""
    flow = air_flow(balance, speed, wind.head, wind.side, 0.0)
    total = np.maximum(np.hypot(speed + wind.head, wind.side), 1e-6)
    along, across = (speed + wind.head) / total, wind.side / total
    half = 0.5 * balance.density * cda[:, None]
    nothing = np.zeros_like(half)
    return np.array(
        [
            [nothing, flow.along, flow.across],
            [flow.along, half * (3 * along - along**3), half * across**3],
            [flow.across, half * across**3, half * along**3],
        ]
    )
