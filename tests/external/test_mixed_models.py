"""Published regressions and mixed models, through the estimate's own solver and likelihood.

Under test: `estimate.solve.step` (estimates and covariance), `estimate.reml.noise_slopes` (moves
the variances to where the restricted likelihood is greatest) and `estimate.uncertainty.spread`
(standard error and degrees of freedom of a weighted sum). A group of readings stands for a lap, the
fixed effects for the setups, a group's random intercept for the force of the lap, and the residual
for the noise of power.
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import scipy.stats.tests
import statsmodels.api as sm

from sameloop.estimate.fit import Fit
from sameloop.estimate.lap_noise import NoiseShapes, noise_of
from sameloop.estimate.layout import Layout
from sameloop.estimate.linear import LinearModel
from sameloop.estimate.noise import SHARED_NAMES, NoisePrior
from sameloop.estimate.prior import Prior, _Statements
from sameloop.estimate.reml import noise_slopes
from sameloop.estimate.response import Response
from sameloop.estimate.scatter import LapScatter, lap_scatter
from sameloop.estimate.solve import step
from sameloop.estimate.uncertainty import SIZE_SOURCE, spread

pytestmark = pytest.mark.external

RESIDUAL, BETWEEN = SHARED_NAMES.index("power"), SHARED_NAMES.index("lap_force")
NOTHING = np.zeros(0, dtype=int)


def layout_of(n_fixed: int, n_road: int, n_groups: int) -> Layout:
    """The fixed effects, a road that nothing reaches, and a random intercept for each group."""
    places = np.arange(n_fixed + n_road + n_groups)
    return Layout(
        group=NOTHING, group_setup=NOTHING, n_groups=0, n_road=n_road, n_rides=1, n_laps=n_groups,
        n_knots=0, nuisance=(), declared_kinds={}, cda=NOTHING, crr=NOTHING,
        road=places[n_fixed : n_fixed + n_road], ride_wind=NOTHING.reshape(0, 2),
        lap_wind=NOTHING.reshape(0, 2), lap_force=places[n_fixed + n_road :], shelter=NOTHING,
        declared=NOTHING, station=NOTHING,
        ride_of=np.full(len(places), -1), size=len(places),
    )  # fmt: skip


def model_of(layout: Layout, y: np.ndarray, x: np.ndarray, group: np.ndarray) -> tuple:
    """Groups as laps, filled up with stretches that are left out; and which are not."""
    n_groups, n_road, n_fixed = layout.n_laps, layout.n_road, x.shape[1]
    residual, usable = np.zeros((n_groups, n_road)), np.zeros((n_groups, n_road))
    local = np.zeros((n_groups, n_road, n_fixed + 1))
    for number, name in enumerate(np.unique(group)):
        mine = group == name
        count = int(mine.sum())
        residual[number, :count], usable[number, :count] = y[mine], 1.0
        local[number, :count, :n_fixed], local[number, :count, n_fixed] = x[mine], 1.0
    fixed = np.tile(np.arange(n_fixed), (n_groups, 1))
    zero = np.zeros_like(residual)
    model = LinearModel(
        residual=residual, road_gain=zero, road_index=np.tile(layout.road, (n_groups, 1)),
        local=local, local_index=np.column_stack([fixed, layout.lap_force]), gust_gain=zero,
        place_gain=zero, wind_gain=np.zeros((*zero.shape, 2)), air_gain=zero[:, :0],
        gust_drag=zero, speed=zero,
    )  # fmt: skip
    return model, usable


def shapes_of(usable: np.ndarray) -> NoiseShapes:
    """Independent readings of one variance."""
    n_groups, n_road = usable.shape
    square = np.zeros((n_groups, n_road, n_road))
    return NoiseShapes(
        power=usable, speed=square, place=square, wander=square, usable=usable,
        air=usable[:, :0], sway=square[:, :0, :0],
        mid_time=np.tile(np.arange(n_road, dtype=float), (n_groups, 1)),
        duration=np.ones((n_groups, n_road)),
        places=np.zeros((n_groups, n_road, 0)),
    )  # fmt: skip


def known_of(layout: Layout, log_noise: np.ndarray, *, intercepts: bool) -> Prior:
    """Random intercepts about nought; the road is nailed down, since no reading is about it."""
    known = _Statements(layout.size)
    zero = np.zeros(layout.n_road)
    known.add_each(layout.road, zero, zero + 1.0, "road")
    zero = np.zeros(layout.n_laps)
    sd = zero + (np.exp(log_noise[BETWEEN]) if intercepts else 1e-9)
    known.add_each(layout.lap_force, zero, sd, "group", "lap_force" if intercepts else "")
    return known.build()


def straight(layout: Layout) -> Response:
    """A model whose slopes never change."""
    none = np.zeros((0, layout.size))
    return Response(columns=NOTHING, lacking=none, turn=none[:, :0])


def fitted(y, x, group, *, intercepts: bool = True) -> Fit:
    """Fixed effects and variances where the restricted likelihood is greatest."""
    y, x, group = np.asarray(y, dtype=float), np.asarray(x, dtype=float), np.asarray(group)
    _, counts = np.unique(group, return_counts=True)
    layout = layout_of(x.shape[1], int(counts.max()), len(counts))
    model, usable = model_of(layout, y, x, group)
    shapes, ride = shapes_of(usable), np.zeros(layout.n_laps, dtype=int)
    noise_prior = NoisePrior.for_rides(1)
    free = noise_prior.sd.copy()
    free[[RESIDUAL, BETWEEN]] = 1e6  # nothing is known of these two but what the readings say
    noise_prior = replace(noise_prior, sd=free)
    phi = noise_prior.mean.copy()
    phi[[RESIDUAL, BETWEEN]] = np.log(0.7 * y.std())
    nothing, stride = np.zeros(layout.size), np.ones(1)
    while np.abs(stride).max() > 1e-8:
        noise = noise_of(shapes, model, phi, ride)
        known = known_of(layout, phi, intercepts=intercepts)
        solved = step(model, noise, known, noise_prior, nothing, layout.ride_of)
        slopes = noise_slopes(model, solved, layout, known, noise_prior, nothing)
        stride = np.linalg.solve(slopes.information, slopes.score)
        phi = phi + np.clip(stride, -0.5, 0.5)
    quiet = LapScatter(residual=np.zeros_like(usable), covariance=solved.weight)
    return Fit(
        x=solved.change, log_noise=phi, layout=layout, balance=None, model=model, prior=known,
        solved=solved, slopes=slopes, scatter=quiet, response=straight(layout),
        rounds=0, converged=True,
    )  # fmt: skip


def residual_variance(fit: Fit) -> float:
    return float(np.exp(2 * fit.log_noise[RESIDUAL]))


def variance_between(fit: Fit) -> float:
    return float(np.exp(2 * fit.log_noise[BETWEEN]))


def criterion(fit: Fit, readings: int, n_fixed: int) -> float:
    """Minus twice the restricted log likelihood."""
    idle = fit.log_noise - NoisePrior.for_rides(1).mean  # at rest the others sit on their priors
    assert np.delete(idle, [RESIDUAL, BETWEEN]) == pytest.approx(0.0, abs=1e-9)
    return fit.solved.objective + (readings - n_fixed) * np.log(2 * np.pi)


def sum_of(fit: Fit, *weights: float):
    """Value, standard error and degrees of freedom of a weighted sum of the fixed effects.

    As published: without what not knowing the variances adds (Kackar & Harville), which is nothing
    where groups are alike.
    """
    whole = np.zeros(fit.layout.size)
    whole[: len(weights)] = weights
    found = spread(fit, whole)
    sd = float(np.sqrt(found.variance - found.parts[SIZE_SOURCE]))
    return float(whole @ fit.x), sd, found.df


def each_its_own(y) -> np.ndarray:
    return np.arange(len(y))


def test_norris():
    """NIST StRD linear regression, certified."""
    file = Path(scipy.stats.tests.__file__).parent / "data" / "nist_linregress" / "Norris.dat"
    y, x = np.loadtxt(file, skiprows=60).T
    columns = np.column_stack([np.ones_like(x), x])
    fit = fitted(y, columns, each_its_own(y), intercepts=False)
    level, slope = sum_of(fit, 1, 0), sum_of(fit, 0, 1)
    assert (level[0], slope[0]) == pytest.approx((-0.262323073774029, 1.00211681802045), rel=1e-8)
    assert (level[1], slope[1]) == pytest.approx(
        (0.232818234301152, 0.000429796848199937), rel=1e-8
    )
    assert np.sqrt(residual_variance(fit)) == pytest.approx(0.884796396144373, rel=1e-9)
    assert slope[2] == pytest.approx(len(y) - 2)


def test_thermometer_line():
    """JCGM 100:2008 (GUM), H.3 table H.6; data as in a library's documentation, print not seen.

    The correction at 30 degC lies outside the readings; leaving the covariance of both
    coefficients out would swell its uncertainty from 0.0041 to 0.0073.
    """
    t = [21.521, 22.012, 22.512, 23.003, 23.507, 23.999, 24.513, 25.002, 25.503, 26.010, 26.511]
    b = -np.array([171, 169, 166, 159, 164, 165, 156, 157, 159, 161, 160]) / 1000
    columns = np.column_stack([np.ones(11), np.array(t) - 20.0])
    fit = fitted(b, columns, each_its_own(b), intercepts=False)
    (y1, u1, _), (y2, u2, _) = sum_of(fit, 1, 0), sum_of(fit, 0, 1)
    at_30, u_at_30, df = sum_of(fit, 1, 10)
    correlation = fit.solved.inverse[0, 1] / (u1 * u2)
    found = [y1, u1, y2, u2, correlation, np.sqrt(residual_variance(fit)), at_30, u_at_30]
    expected = [-0.1712037901, 0.0028775978, 0.0021826977, 0.0006679388, -0.9304296031]
    expected += [0.003497564, -0.1493768127, 0.0041385958]
    assert found == pytest.approx(expected, abs=2e-10)
    assert np.hypot(u1, 10 * u2) == pytest.approx(0.0073, abs=5e-5)
    assert df == pytest.approx(9)


DYESTUFF = [
    [1545, 1440, 1440, 1520, 1580],
    [1540, 1555, 1490, 1560, 1495],
    [1595, 1550, 1605, 1510, 1560],
    [1445, 1440, 1595, 1465, 1545],
    [1595, 1630, 1515, 1635, 1625],
    [1520, 1455, 1450, 1480, 1445],
]


def test_dyestuff():
    """Davies & Goldsmith (1972): yield by batch; numbers by R lme4 1.1-31, print not seen."""
    y = np.ravel(DYESTUFF)
    fit = fitted(y, np.ones((30, 1)), np.repeat(range(6), 5))
    mean, se, df = sum_of(fit, 1)
    assert (mean, se) == pytest.approx((1527.5, 19.38341218), rel=1e-8)
    assert df == pytest.approx(5.0, rel=1e-6)
    assert variance_between(fit) == pytest.approx(1764.05, rel=1e-7)
    assert residual_variance(fit) == pytest.approx(2451.25, rel=1e-7)
    assert criterion(fit, 30, 1) == pytest.approx(319.6542768, abs=1e-6)


# Reaction time [ms] of 18 subjects, ten days each of little sleep: Belenky et al. (2003), as in
# Bates, Maechler, Bolker & Walker (2015), J Stat Softw 67(1). From memory; the fits confirm it.
REACTION = """
249.56 258.7047 250.8006 321.4398 356.8519 414.6901 382.2038 290.1486 430.5853 466.3535 222.7339
205.2658 202.9778 204.707 207.7161 215.9618 213.6303 217.7272 224.2957 237.3142 199.0539
194.3322 234.32 232.8416 229.3074 220.4579 235.4208 255.7511 261.0125 247.5153 321.5426 300.4002
283.8565 285.133 285.7973 297.5855 280.2396 318.2613 305.3495 354.0487 287.6079 285 301.8206
320.1153 316.2773 293.3187 290.075 334.8177 293.7469 371.5811 234.8606 242.8118 272.9613
309.7688 317.4629 309.9976 454.1619 346.8311 330.3003 253.8644 283.8424 289.555 276.7693
299.8097 297.171 338.1665 332.0265 348.8399 333.36 362.0428 265.4731 276.2012 243.3647 254.6723
279.0244 284.1912 305.5248 331.5229 335.7469 377.299 241.6083 273.9472 254.4907 270.8021
251.4519 254.6362 245.4523 235.311 235.7541 237.2466 312.3666 313.8058 291.6112 346.1222
365.7324 391.8385 404.2601 416.6923 455.8643 458.9167 236.1032 230.3167 238.9256 254.922
250.7103 269.7744 281.5648 308.102 336.2806 351.6451 256.2968 243.4543 256.2046 255.5271
268.9165 329.7247 379.4445 362.9184 394.4872 389.0527 250.5265 300.0576 269.8939 280.5891
271.8274 304.6336 287.7466 266.5955 321.5418 347.5655 221.6771 298.1939 326.8785 346.8555
348.7402 352.8287 354.4266 360.4326 375.6406 388.5417 271.9235 268.4369 257.2424 277.6566
314.8222 317.2135 298.1353 348.1229 340.28 366.5131 225.264 234.5235 238.9008 240.473 267.5373
344.1937 281.1481 347.5855 365.163 372.2288 269.8804 272.4428 277.8989 281.7895 279.1705 284.512
259.2658 304.6306 350.7807 369.4692 269.4117 273.474 297.5968 310.6316 287.1726 329.6076
334.4818 343.2199 369.1417 364.1236
"""


def test_sleep_study():
    """A random intercept for each subject; numbers by R lme4 and lmerTest, print not seen."""
    days, subject = np.tile(np.arange(10.0), 18), np.repeat(range(18), 10)
    fit = fitted(REACTION.split(), np.column_stack([np.ones(180), days]), subject)
    slope, se, df = sum_of(fit, 0, 1)
    assert (sum_of(fit, 1, 0)[0], slope) == pytest.approx((251.40510485, 10.46728596), rel=1e-9)
    assert variance_between(fit) == pytest.approx(1378.1785138, rel=1e-5)
    assert residual_variance(fit) == pytest.approx(960.4565786, rel=1e-5)
    assert se == pytest.approx(0.8042214289, rel=1e-5)
    assert df == pytest.approx(161.0, rel=1e-3)


@pytest.mark.parametrize("seed", range(4))
def test_unbalanced_groups_agree_with_statsmodels(seed):
    rng = np.random.default_rng(seed)
    group = np.repeat(np.arange(9), rng.integers(2, 9, 9))
    x = np.column_stack([np.ones(len(group)), rng.standard_normal((len(group), 2))])
    y = x @ [3.0, -1.0, 0.5] + 1.5 * rng.standard_normal(9)[group]
    y += rng.standard_normal(len(group))
    theirs = sm.MixedLM(y, x, groups=group).fit(reml=True, gtol=1e-10)
    ours = fitted(y, x, group)
    found = [sum_of(ours, *weights) for weights in np.eye(3)]
    assert [one[0] for one in found] == pytest.approx(theirs.fe_params, rel=1e-8)
    assert residual_variance(ours) == pytest.approx(theirs.scale, rel=1e-6)
    assert variance_between(ours) == pytest.approx(theirs.cov_re[0, 0], rel=1e-6)
    assert criterion(ours, len(y), 3) == pytest.approx(-2 * theirs.llf, abs=1e-8)
    # Their standard errors hold a part for the variances; these are those of known variances.
    spread_of_y = theirs.scale * np.eye(len(y))
    spread_of_y += theirs.cov_re[0, 0] * (group[:, None] == group)
    known = np.sqrt(np.diag(np.linalg.inv(x.T @ np.linalg.solve(spread_of_y, x))))
    assert [one[1] for one in found] == pytest.approx(known, rel=1e-6)


def widened_mean(groups, sd: float):
    """Grand mean, its standard error and its modelled one, of groups that scatter as they do.

    The readings are taken as independent with a standard deviation `sd`, which is too small.
    """
    y = np.ravel(groups).astype(float)
    each = len(y) // len(groups)
    layout = layout_of(1, each, len(groups))
    model, usable = model_of(layout, y, np.ones((len(y), 1)), np.repeat(range(len(groups)), each))
    noise_prior = NoisePrior.for_rides(1)
    phi = noise_prior.mean.copy()
    phi[[RESIDUAL, BETWEEN]] = np.log([sd, 1e-9])
    nothing = np.zeros(layout.size)
    noise = noise_of(shapes_of(usable), model, phi, np.zeros(len(groups), dtype=int))
    known = known_of(layout, phi, intercepts=False)
    solved = step(model, noise, known, noise_prior, nothing, layout.ride_of)
    fit = Fit(
        x=solved.change, log_noise=phi, layout=layout, balance=None, model=model, prior=known,
        solved=solved, slopes=noise_slopes(model, solved, layout, known, noise_prior, nothing),
        scatter=lap_scatter(model, solved, layout, known, solved.change),
        response=straight(layout), rounds=0, converged=True,
    )  # fmt: skip
    mean, se, _ = sum_of(fit, 1)
    return mean, se, sd / np.sqrt(len(y))


def test_batches_that_scatter_widen_the_mean_as_the_mixed_model_does():
    """Under test: `LapScatter.factor`, on the dyestuff; numbers by R lme4, print not seen.

    For balanced groups it gives what the few-cluster correction of Bell & McCaffrey (2002) does.
    """
    mean, se, modelled = widened_mean(DYESTUFF, 20.0)
    assert (mean, se) == pytest.approx((1527.5, 19.38341218), rel=1e-8)
    assert modelled < 4.0


def test_batches_that_agree_by_luck_do_not_narrow_the_mean():
    _, se, modelled = widened_mean(DYESTUFF, 200.0)
    assert se == pytest.approx(modelled, rel=1e-8)


def test_days_of_one_voltage_standard():
    """JCGM 100:2008 (GUM), H.5 table H.9: ten days of five readings; from memory, print not seen.

    The mean of balanced days has the scatter of the day means, 57 uV, over the root of ten,
    whatever the readings of a day do.
    """
    days = np.array([172, 116, 13, 144, 106, 31, 60, 125, 163, 41.0])
    within = np.array([60, 77, 111, 101, 67, 93, 80, 73, 88, 86.0])
    shape = np.array([-2, -1, 0, 1, 2]) / np.sqrt(2.5)  # mean nought, standard deviation one
    mean, se, _ = widened_mean(days[:, None] + within[:, None] * shape, 85.0)
    assert mean == pytest.approx(97.0, abs=0.5)
    assert se * np.sqrt(10) == pytest.approx(57.0, abs=0.5)


@pytest.mark.parametrize(
    ("name", "f", "residual_sd"),
    [
        ("SiRstv", 1.18046237440255, 0.104076068334656),
        ("AtmWtAg", 15.9467335677930, 1.51048314446410e-5),
    ],
)
def test_certified_analysis_of_variance(name, f, residual_sd):
    """NIST StRD one-way sets, certified.

    The squared standard error of the grand mean by groups is F s^2 over the number of readings.
    """
    folder = Path(scipy.stats.tests.__file__).parent / "data" / "nist_anova"
    group, reading = np.loadtxt(folder / f"{name}.dat", skiprows=60).T
    order = np.argsort(group, kind="stable")
    # Taking a constant off first keeps the leading digits from swamping the rest.
    groups = (reading[order] - reading[0]).reshape(len(set(group)), -1)
    _, se, _ = widened_mean(groups, residual_sd / 3)
    assert se**2 == pytest.approx(f * residual_sd**2 / len(reading), rel=1e-6)
