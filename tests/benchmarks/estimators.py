"""Bias, spread, coverage and time of several estimators on the same simulated studies; by hand:

    python tests/benchmarks/estimators.py OUTCOMES.jsonl --per-cell 24

runs what OUTCOMES.jsonl does not hold yet (it can be stopped and resumed) and prints two tables:
the estimators against each other, and the package's against the Cramer-Rao bound (`bound`).

All get the same laps cut into the same stretches. Delta watts is at the second reference speed.

averages    CdA of each lap from its mean balance with Crr taken as known; Welch's t
elevation   ordinary least squares on the road that all laps share, measured speed
whitened    the same with residuals made white along the road (first-order, per study)
instruments regressors at the speed that the model predicts, white noise, clustered by lap (CR2)
bootstrap   `elevation` refitted on laps drawn with replacement, percentile interval
state_space a Kalman filter over the stretches of each lap, gusts latent, noise by likelihood
sameloop    the package's own: instruments, gusts as a latent process, winds, declared inputs
"""

from __future__ import annotations

import argparse
import json
import os
import sys
import time
from collections.abc import Callable
from concurrent.futures import ProcessPoolExecutor
from multiprocessing import get_context
from pathlib import Path
from typing import Any

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import numpy as np
from bound import bound
from cells import CELLS, spec_of
from cluster import cr2
from outcomes import whole_lines
from rich.progress import track
from scipy import stats
from state_space import fit
from tables import narrower, pooled, ratios, table

from sameloop.air import ride_air
from sameloop.clean import clean_ride
from sameloop.compare import compare
from sameloop.errors import SameloopError
from sameloop.estimate import estimate
from sameloop.estimate.balance import Balance, air_flow, predicted_speed, prepare
from sameloop.laps import find_laps
from sameloop.road import cut_laps
from sameloop.simulate.scenario import StudySpec
from sameloop.simulate.study import SimulatedStudy, simulate_studies

_CRR = 0.0045
_G = 9.80665
_BATCH = 4  # studies of a cell simulated at once


class Problem:
    """One study as every estimator receives it."""

    claimed = 0.0  # W, the package's standard deviation

    def __init__(self, simulated: SimulatedStudy) -> None:
        """Bring the recorded rides through the stages before the estimate."""
        self.study = simulated.study
        tracks = tuple(clean_ride(ride) for ride in simulated.rides)
        self.airs = ride_air(self.study, tracks)
        lapset = find_laps(tracks, study=self.study)
        self.stretches = cut_laps(tracks, lapset, self.airs, self.study)
        self.balance: Balance = prepare(self.stretches, self.study)
        self.speed = self.study.reference_speeds[1]
        wind = self.stretches.wind_prior
        east, north = wind[:, :1], wind[:, 1:]
        self.head = -(east * self.balance.sin + north * self.balance.cos)
        self.side = east * self.balance.cos - north * self.balance.sin

    def watts(self) -> np.ndarray:
        """Slopes of delta watts by CdA and Crr of the setups: A, B, A, B."""
        v, eta = self.speed, 0.976
        mass = [s.total_mass for s in self.study.setups]
        aero = 0.5 * self.study.reference_density * v**3 / eta
        roll = [m * _G * v / eta for m in mass]
        return np.array([-aero, aero, -roll[0], roll[1]])

    def design(self, speed: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """Columns (CdA, Crr of A and B, road), right side and lap of each usable stretch."""
        b, s = self.balance, self.stretches
        n_road = len(s.length)
        force = air_flow(b, speed, self.head, self.side, 0.0).force
        rows = np.argwhere(b.usable)
        x = np.zeros((len(rows) + 1, 4 + n_road))
        lap, place = rows.T
        x[np.arange(len(rows)), s.setup[lap]] = force[lap, place]
        x[np.arange(len(rows)), 2 + s.setup[lap]] = b.mass[lap] * _G
        x[np.arange(len(rows)), 4 + s.road_index[lap, place]] = b.mass[lap] * b.sign[lap]
        x[-1, 4:] = 1e3  # a loop returns to its height
        return x, np.append(b.drive[lap, place], 0.0), lap


Answer = tuple[float, float, float]


def averages(p: Problem) -> Answer:
    """Return delta watts and its interval from one CdA a lap."""
    b = p.balance
    force = air_flow(b, b.speed, p.head, p.side, 0.0).force
    total = np.where(b.usable, b.drive - b.mass[:, None] * _G * _CRR, 0.0).sum(axis=1)
    cda = total / np.where(b.usable, force, 0.0).sum(axis=1)
    one, two = (cda[p.stretches.setup == k] for k in (0, 1))
    found = stats.ttest_ind(two, one, equal_var=False).confidence_interval(0.95)
    slope = p.watts()[1]
    return slope * (two.mean() - one.mean()), slope * found.low, slope * found.high


def _interval(value: float, sd: float, df: float) -> Answer:
    half = stats.t.ppf(0.975, df) * sd
    return value, value - half, value + half


def elevation(p: Problem) -> Answer:
    """Ordinary least squares at the measured speed; intervals as if seconds were independent."""
    x, y, _ = p.design(p.balance.speed)
    inverse = np.linalg.pinv(x.T @ x)
    theta = inverse @ x.T @ y
    df = len(y) - x.shape[1]
    scale = ((y - x @ theta) ** 2).sum() / df
    w = p.watts()
    return _interval(float(w @ theta[:4]), float(np.sqrt(scale * w @ inverse[:4, :4] @ w)), df)


def whitened(p: Problem) -> Answer:
    """Least squares after taking the residual's correlation with its neighbour out."""
    x, y, lap = p.design(p.balance.speed)
    theta = np.linalg.lstsq(x, y)[0]
    left = (y - x @ theta)[:-1]
    same = lap[1:] == lap[:-1]
    rho = float(np.clip((left[1:] * left[:-1])[same].sum() / (left**2).sum(), -0.95, 0.95))
    keep = np.where(same, rho, 0.0)
    xw, yw = x.copy(), y.copy()
    xw[1:-1] -= keep[:, None] * x[:-2]
    yw[1:-1] -= keep * y[:-2]
    inverse = np.linalg.pinv(xw.T @ xw)
    theta = inverse @ xw.T @ yw
    df = len(y) - x.shape[1]
    scale = ((yw - xw @ theta) ** 2).sum() / df
    w = p.watts()
    return _interval(float(w @ theta[:4]), float(np.sqrt(scale * w @ inverse[:4, :4] @ w)), df)


def instruments(p: Problem) -> Answer:
    """Regressors at the predicted speed, white noise, CR2 by lap."""
    b, s = p.balance, p.stretches
    x, y, lap = p.design(b.speed)
    theta = np.linalg.lstsq(x, y)[0]
    start = np.full(len(b.mass), b.node_speed[:, 0].mean())
    for _ in range(6):
        slope = theta[4:][s.road_index] * b.sign[:, None]
        speed = predicted_speed(b, theta[s.setup], theta[2 + s.setup], slope, p.head, p.side, start)
        z, _, _ = p.design(speed)
        theta = np.linalg.lstsq(z.T @ x, z.T @ y)[0]
    clusters = np.append(lap, lap.max() + 1)
    # the road soaks up every stretch's mean: partial it out before the few-cluster correction
    road = z[:, 4:]
    reduced = z[:, :4] - road @ np.linalg.lstsq(road, z[:, :4])[0]
    w = p.watts()
    # one column along the sum wanted, so that CR2's own degrees of freedom apply
    inverse = np.linalg.pinv(reduced.T @ reduced)
    along = reduced @ (inverse @ w) / (w @ inverse @ w)
    robust = cr2(along[:, None], y - x @ theta, clusters)
    sd = float(np.sqrt(robust.covariance[0, 0]))
    return _interval(float(w @ theta[:4]), sd, float(max(robust.df[0], 1.0)))


def bootstrap(p: Problem, draws: int = 200) -> Answer:
    """Draw laps of each setup with replacement and refit `elevation`."""
    x, y, lap = p.design(p.balance.speed)
    w = p.watts()
    rng = np.random.default_rng(0)
    n = int(lap.max()) + 1
    blocks = [(x[:-1][lap == k], y[:-1][lap == k]) for k in range(n)]
    gram = np.array([a.T @ a for a, _ in blocks])
    right = np.array([a.T @ b for a, b in blocks])
    closing = np.outer(x[-1], x[-1])

    def solve(weight: np.ndarray) -> float:
        info = np.tensordot(weight, gram, 1) + closing + 1e-6 * np.eye(x.shape[1])
        return float(w @ np.linalg.solve(info, weight @ right)[:4])

    found = []
    for _ in range(draws):
        weight = np.zeros(n)
        for setup in (0, 1):
            mine = np.flatnonzero(p.stretches.setup == setup)
            np.add.at(weight, rng.choice(mine, len(mine)), 1.0)
        found.append(solve(weight))
    low, high = np.percentile(found, [2.5, 97.5])
    return solve(np.ones(n)), float(low), float(high)


def state_space(p: Problem) -> Answer:
    """A Kalman filter over stretches with latent gusts, noise by likelihood."""
    # It has no unknown for what all reports are wrong by alike: that goes to each ride's wind.
    speed = [np.hypot(air.wind_east, air.wind_north).mean() for air in p.airs]
    alike = [np.hypot(air.wind_factor_sd, air.wind_turn_sd) / np.sqrt(2) for air in p.airs]
    wind_sd = np.hypot([air.wind_sd for air in p.airs], np.multiply(alike, speed))
    found = fit(p.balance, p.stretches, p.study, wind_sd)
    w = p.watts()
    sd = float(np.sqrt(w @ found.covariance[:4, :4] @ w))
    return _interval(float(w @ found.x[:4]), sd, np.inf)


def sameloop(p: Problem) -> Answer:
    """Answer as the package does."""
    result = estimate(p.stretches, p.study, p.airs)
    watts = compare(result, p.study, p.stretches)[0].watts[1].watts
    p.claimed = watts.sd
    return watts.value, watts.low, watts.high


ESTIMATORS: dict[str, Callable[[Problem], Answer]] = {
    f.__name__: f
    for f in (averages, elevation, whitened, instruments, bootstrap, state_space, sameloop)
}


def limits(spec: StudySpec, simulated: SimulatedStudy) -> dict[str, Any]:
    """Bounds and the errors of who reaches them: all known, then road, then shelter too unknown."""
    bounds = {
        "known": bound(spec, simulated, road_known=True),
        "shared": bound(spec, simulated, road_known=False),
        "blind": bound(spec, simulated, road_known=False, shelter_known=False),
    }
    return {
        "bound": {name: float(one.watts[1]) for name, one in bounds.items()},
        "oracle": {name: float(one.oracle[1]) for name, one in bounds.items()},
    }


def answer(spec: StudySpec, simulated: SimulatedStudy) -> dict[str, Any]:
    """Put one study to every estimator and work its bound out."""
    out = limits(spec, simulated)
    problem = Problem(simulated)
    truth = simulated.truth.delta_watts("A", "B", problem.speed)
    answers = {}
    for name, estimator in ESTIMATORS.items():
        since = time.process_time()
        value, low, high = estimator(problem)
        answers[name] = {
            "error": value - truth, "covered": bool(low <= truth <= high), "width": high - low,
            "seconds": time.process_time() - since,
        }  # fmt: skip
    return {**out, "answers": answers, "claimed": problem.claimed}


def run_batch(batch: list[tuple[str, int]]) -> list[dict[str, Any]]:
    """Answer ``(cell, seed)`` pairs; a study that cannot be answered says why."""
    specs = [spec_of(cell, seed) for cell, seed in batch]
    out = []
    for (cell, seed), spec, simulated in zip(batch, specs, simulate_studies(specs), strict=True):
        try:
            found = answer(spec, simulated)
        except SameloopError as refused:
            found = {"refused": str(refused)}
        out.append({"cell": cell, "seed": seed, **found})
    return out


def main() -> None:
    """Run what is missing, then print the tables."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("outcomes", type=Path, help="JSON lines; what it holds is not run again")
    parser.add_argument("--per-cell", type=int, default=24)
    parser.add_argument("--processes", type=int, default=2)
    parser.add_argument("--only", default="", help="cells whose name holds this text")
    options = parser.parse_args()
    done = whole_lines(options.outcomes)
    have = {(r["cell"], r["seed"]) for r in done}
    # every cell gets its first few studies before any gets more: it can be stopped at any time
    batches = [
        [(cell, seed) for seed in range(first, first + _BATCH) if (cell, seed) not in have]
        for first in range(0, options.per_cell, _BATCH)
        for cell in CELLS
        if options.only in cell
    ]
    batches = [batch for batch in batches if batch]
    with (
        options.outcomes.open("a") as sink,
        ProcessPoolExecutor(options.processes, mp_context=get_context("spawn")) as pool,
    ):
        results = pool.map(run_batch, batches)
        for rows in track(results, "Studies", len(batches), disable=not sys.stderr.isatty()):
            done += rows
            sink.writelines(json.dumps(row) + "\n" for row in rows)
            sink.flush()
    print(pooled(done), table(done), ratios(done), narrower(done), sep="\n\n")
    for row in done:
        if "refused" in row:
            print(f"{row['cell']}, {row['seed']}: {row['refused']}")


if __name__ == "__main__":
    main()
