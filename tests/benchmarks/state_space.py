"""A state-space likelihood written by hand: laps as Kalman filters over one unknown road.

States of a lap are its speed, a gust (Ornstein-Uhlenbeck) and its own wind (two parts, random).
The road's slopes, CdA and Crr, ride winds and declared inputs are constants that all laps share;
the filter whitens their columns. Noise by restricted maximum likelihood, in `scipy`.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.optimize import minimize
from whiten import FloatArray, StateSpace, whiten

from sameloop.estimate.balance import Balance
from sameloop.road.stretches import Stretches
from sameloop.study import Study

_G = 9.80665
_ROUNDS = 3
#: Noise: name, first guess, log-sd of a weak prior. Gust, lap wind [m/s], gust time [s], recorded
#: speed [m/s], power of one second [W].
_NOISE = (
    ("gust", 0.5, 1.0), ("gust time", 8.0, 0.6), ("lap wind", 0.3, 1.0),
    ("speed", 0.03, 0.7), ("power", 6.0, 0.7),
)  # fmt: skip
_POSTURE = 0.005  # of CdA from ride to ride; common practice, no source


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Reference:
    """Motion of every lap at the present constants, about which the filter is linear.

    `node` speed [m/s] (n_laps, n + 1); for each stretch (n_laps, n): `seconds`, `keep` share of a
    deviation of speed that is left at its end, `change` of speed by a newton [m/s/N], `force` of
    the air per CdA [N/m2], `by_head` and `by_side` [N s/m].
    """

    node: FloatArray
    seconds: FloatArray
    keep: FloatArray
    change: FloatArray
    force: FloatArray
    by_head: FloatArray
    by_side: FloatArray


class Constants:
    """Columns of the constants, their values and priors (0 +- sd about the first value)."""

    def __init__(
        self, b: Balance, s: Stretches, study: Study, wind_sd: FloatArray, road: FloatArray
    ) -> None:
        u = study.uncertainty
        rides = np.unique(s.ride)
        self.rides, self.n_road = rides, len(s.length)
        first = {"cda:0": 0.32, "cda:1": 0.32, "crr:0": 0.0045, "crr:1": 0.0045}
        sd = {"cda:0": 0.15, "cda:1": 0.15, "crr:0": 0.0015, "crr:1": 0.0015}
        sd["scale"], sd["mass"] = u.power_scale, u.mass
        for r in rides:
            mean = s.wind_prior[s.ride == r].mean(axis=0)
            has_wind = bool(np.any(b.sin))
            for axis in range(2):
                first[f"wind {axis}:{r}"] = float(mean[axis])
                sd[f"wind {axis}:{r}"] = float(wind_sd[r]) if has_wind else 1e-3
            sd[f"offset:{r}"], sd[f"posture:{r}"] = u.power_offset, _POSTURE
        self.names = list(sd)
        begin = [first.get(name, 0.0) for name in self.names]
        self.start = np.concatenate([begin, road])
        self.sd = np.concatenate([[sd[n] for n in self.names], np.full(self.n_road, 0.1 * _G)])
        self.mean = np.concatenate([begin, np.zeros(self.n_road)])

    def at(self, x: FloatArray, name: str) -> float:
        """Value of one constant."""
        return float(x[self.names.index(name)])

    def winds(self, x: FloatArray, ride: np.ndarray) -> FloatArray:
        """East and north wind of each lap's ride (n_laps, 2)."""
        return np.array([[self.at(x, f"wind {axis}:{r}") for axis in range(2)] for r in ride])


def reference(b: Balance, s: Stretches, c: Constants, x: FloatArray) -> Reference:
    """Ride all laps at the constants `x` without noise, stretch by stretch, by energy."""
    cda = x[:2][s.setup]
    crr = x[2:4][s.setup]
    cda = cda * (1 + np.array([c.at(x, f"posture:{r}") for r in s.ride]))
    offset = np.array([c.at(x, f"offset:{r}") for r in s.ride])
    wind = c.winds(x, s.ride)
    head = -(wind[:, :1] * b.sin + wind[:, 1:] * b.cos)
    side = wind[:, :1] * b.cos - wind[:, 1:] * b.sin
    slope = x[len(c.names) :][s.road_index] * b.sign[:, None]
    power = b.power * (1 - c.at(x, "scale")) - offset[:, None]
    mass = b.mass + c.at(x, "mass")
    n = b.ds.shape[1]
    node = np.empty((len(cda), n + 1))
    node[:, 0] = b.node_speed[:, 0]
    mid = np.empty_like(b.ds)
    # the work done on the stretch stays what it was, however long the stretch takes
    push = power * b.duration / b.ds
    still = push - mass[:, None] * (slope + crr[:, None] * _G) - 0.091
    for j in range(n):
        v = node[:, j]
        u = v
        for _ in range(3):
            along = u + head[:, j]
            drag = 0.5 * b.density[:, j] * cda * np.hypot(along, side[:, j]) * along
            net = still[:, j] - drag - 0.0087 * u
            end2 = np.maximum(v**2 + 2 * b.ds[:, j] * net / b.moving_mass, 1.0)
            u = 0.5 * (v + np.sqrt(end2))
        measured, ok = b.node_speed[:, j + 1], b.usable[:, j]
        end = np.clip(np.sqrt(end2), 0.6 * measured, 1.6 * measured)
        node[:, j + 1] = np.where(ok, end, measured)
        mid[:, j] = np.where(ok, u, b.speed[:, j])
    along = mid + head
    size = np.maximum(np.hypot(along, side), 1e-6)
    half = 0.5 * b.density
    force = half * size * along
    by_head = half * cda[:, None] * (size + along**2 / size)
    seconds = b.ds / mid
    # a deviation of speed does not change the work, only the drag
    rate = -(by_head + 0.0087) / b.moving_mass[:, None] * seconds
    begin, finish = node[:, :-1], node[:, 1:]
    return Reference(
        node=node, seconds=seconds, keep=np.exp(rate) * begin / finish,
        change=b.ds / b.moving_mass[:, None] / finish,
        force=force, by_head=by_head, by_side=half * cda[:, None] * along * side / size,
    )  # fmt: skip


def space(b: Balance, s: Stretches, c: Constants, ref: Reference, x: FloatArray,
          noise: dict[str, float]) -> StateSpace:  # fmt: skip
    """All laps as series of one state-space; columns are steps of the constants from `x`."""
    laps, n = b.ds.shape
    q = 1 + len(c.start)
    cda = x[:2][s.setup][:, None]
    pushed = np.zeros((n + 1, laps, q))  # newtons by each constant, later metres per second

    def add(name: str, force: FloatArray, mine: np.ndarray | float = 1.0) -> None:
        pushed[:n, :, 1 + c.names.index(name)] += (force * np.reshape(mine, (-1, 1))).T

    by_power = b.duration / b.ds
    add("scale", -b.power * by_power)
    slope = x[len(c.names) :][s.road_index] * b.sign[:, None]
    add("mass", -slope - _G * x[2:4][s.setup][:, None])
    for k in range(2):
        add(f"cda:{k}", -ref.force, s.setup == k)
        add(f"crr:{k}", -_G * np.broadcast_to(b.mass[:, None], b.ds.shape), s.setup == k)
    by_wind = (ref.by_head * b.sin - ref.by_side * b.cos, ref.by_head * b.cos + ref.by_side * b.sin)
    for r in c.rides:
        add(f"offset:{r}", -by_power, s.ride == r)
        add(f"posture:{r}", -ref.force * cda, s.ride == r)
        for axis in range(2):
            add(f"wind {axis}:{r}", by_wind[axis], s.ride == r)
    lap = np.arange(laps)[:, None]
    pushed[np.arange(n)[None], lap, 1 + len(c.names) + s.road_index] -= (
        b.mass[:, None] * b.sign[:, None]
    )
    pushed[:n] *= ref.change.T[:, :, None]

    keep_gust = np.exp(-ref.seconds.T / noise["gust time"])
    move = np.zeros((n + 1, laps, 4, 4))
    move[:] = np.eye(4)
    move[:n, :, 0, 0] = ref.keep.T
    move[:n, :, 0, 1] = -(ref.by_head * ref.change).T
    for axis in range(2):
        move[:n, :, 0, 2 + axis] = (by_wind[axis] * ref.change).T
    move[:n, :, 1, 1] = keep_gust
    moved = np.zeros((n + 1, laps, 4, 4))
    rough = noise["power"] * np.sqrt(b.duration) / b.ds * ref.change
    rough = np.where(b.usable, rough, 3.0)  # nothing is known of an unusable stretch
    moved[:n, :, 0, 0] = (rough**2).T
    moved[:n, :, 1, 1] = (1 - keep_gust**2) * noise["gust"] ** 2
    observe = np.zeros((n + 1, laps, 1, 4))
    observe[..., 0] = 1.0
    z = np.zeros((n + 1, laps, 1, q))
    z[:, :, 0, 0] = (b.node_speed - ref.node).T
    start = np.diag([4.0, noise["gust"] ** 2, noise["lap wind"] ** 2, noise["lap wind"] ** 2])
    return StateSpace(
        move=move, moved_noise=moved, into=np.eye(4)[0], drive=pushed, observe=observe,
        observed_noise=np.full((n + 1, laps, 1), noise["speed"] ** 2), z=z,
        start=np.tile(start, (laps, 1, 1)),
    )  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Fitted:
    """Constants, their covariance, and the restricted log-likelihood times -2."""

    x: FloatArray
    covariance: FloatArray
    deviance: float


def solve(b: Balance, s: Stretches, c: Constants, ref: Reference, x: FloatArray,
          log_noise: FloatArray) -> Fitted:  # fmt: skip
    """Generalised least squares on whitened rows and priors at given noise."""
    noise = {name: float(np.exp(v)) for (name, _, _), v in zip(_NOISE, log_noise, strict=True)}
    rows, logdet = whiten(space(b, s, c, ref, x, noise))
    a, y = rows[:, 1:], rows[:, 0]
    prior = (c.mean - x) / c.sd**2
    closing = s.length / (0.05 * _G) if s.returns else np.zeros(c.n_road)
    information = a.T @ a + np.diag(c.sd**-2.0)
    road = slice(len(c.names), None)
    information[road, road] += np.outer(closing, closing)
    right = a.T @ y + prior
    gap = float(closing @ x[road])
    right[road] -= closing * gap
    covariance: FloatArray = np.asarray(np.linalg.inv(information), dtype=np.float64)
    change = covariance @ right
    _, log_information = np.linalg.slogdet(information)
    fit = float(y @ y + ((c.mean - x) ** 2 / c.sd**2).sum() + gap**2 - right @ change)
    sane = sum(((v - np.log(m)) / w) ** 2 for (_, m, w), v in zip(_NOISE, log_noise, strict=True))
    return Fitted(
        x=x + change, covariance=covariance, deviance=fit + logdet + log_information + sane
    )


def first_road(b: Balance, s: Stretches) -> FloatArray:
    """Slope of each stretch, as gravity along the road [m/s2], that middling CdA and Crr leave."""
    drag = 0.5 * b.density * 0.32 * b.speed**2
    slope = ((b.drive - drag) / b.mass[:, None] - 0.0045 * _G) * b.sign[:, None]
    total = np.bincount(s.road_index.ravel(), (slope * b.usable).ravel(), len(s.length))
    count = np.bincount(s.road_index.ravel(), b.usable.ravel(), len(s.length))
    return np.asarray(total / np.maximum(count, 1.0))


def fit(b: Balance, s: Stretches, study: Study, wind_sd: FloatArray) -> Fitted:
    """Alternate between the motion at the present constants and noise by likelihood.

    The constants begin with CdA of both setups, then Crr of both.
    """
    c = Constants(b, s, study, wind_sd, first_road(b, s))
    x = c.start
    log_noise = np.log([m for _, m, _ in _NOISE])
    for k in range(_ROUNDS):
        ref = reference(b, s, c, x)
        if k:

            def deviance(at: FloatArray, ref: Reference = ref, x: FloatArray = x) -> float:
                return solve(b, s, c, ref, x, at).deviance

            best = minimize(
                deviance,
                log_noise,
                method="L-BFGS-B",
                bounds=[(v - 3, v + 3) for v in log_noise],
                options={"maxiter": 8, "ftol": 1e-6},
            )
            log_noise = best.x
        found = solve(b, s, c, ref, x, log_noise)
        reach = min(1.0, 0.1 / max(np.abs((found.x - x)[:2]).max(), 1e-9))
        x = x + reach * (found.x - x)
    return Fitted(x=x, covariance=found.covariance, deviance=found.deviance)
