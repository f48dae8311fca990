"""Least squares with outliers, repeating rows, known quantities, expectations and several channels."""

from __future__ import annotations

import numpy as np
import pytest

from explorer.errors import SampleError
from explorer.graph.arrays import Array
from explorer.logs.fitting.fit import Fit, Known
from explorer.logs.fitting.independence import repetition
from explorer.logs.fitting.least_squares import fit_curve
from explorer.logs.fitting.problem import Observations, Parameter
from tests.statistics_help import within
from tests.synthetic import Roughness, random_stream, roughened


def straight(x: Array, y: Array, **options: object) -> Fit:
    """Fit y = level + slope x."""
    observations = Observations.single(y, x, name="y", unit="m", abscissa_name="x")
    parameters = [Parameter("level", "m", 0.0), Parameter("slope", "1", 1.0)]
    return fit_curve(lambda p, _: p[0] + p[1] * x, observations, parameters, kind="straight line", **options)  # type: ignore[arg-type]


X = np.linspace(0.0, 10.0, 200)


def test_plain_fit_is_ordinary_least_squares() -> None:
    # Reference: numpy.polyfit, with its covariance from the residuals.
    y = roughened(2 + 3 * X, Roughness(noise=0.5), random_stream(1))
    fit = straight(X, y, loss="linear")
    reference, covariance = np.polyfit(X, y, 1, cov=True)
    assert fit.estimates == pytest.approx(reference[::-1], rel=1e-9)
    assert fit.covariance == pytest.approx(covariance[::-1, ::-1], rel=1e-6)
    assert fit.degrees_of_freedom == pytest.approx(198)
    assert fit.notes == ()


def test_robust_fit_costs_little_without_outliers() -> None:
    fits = [
        straight(X, roughened(2 + 3 * X, Roughness(noise=0.5), random_stream(seed)), loss=loss)
        for seed in range(40)
        for loss in ("linear", "soft_l1")
    ]
    plain, robust = (np.array([fit.value("slope") for fit in fits[start::2]]) for start in (0, 1))
    assert np.std(robust) < 1.1 * np.std(plain)
    said = np.mean([fit.standard_uncertainty("slope") for fit in fits[1::2]])
    # The standard error of a standard deviation from 40 fits is its share 1 / sqrt(80).
    assert within(float(np.std(robust, ddof=1)), float(said), float(said) / np.sqrt(78))


def test_outliers_are_left_out_and_said() -> None:
    random = random_stream(5)
    y = roughened(2 + 3 * X, Roughness(noise=0.1), random)
    wrong = random.choice(len(X), 20, replace=False)
    y[wrong] = 0.0
    fit = straight(X, y)
    assert fit.residuals is not None
    left_out = np.flatnonzero(fit.residuals.weight == 0)
    far = wrong[np.abs(2 + 3 * X[wrong]) > 1.0]
    assert set(far) <= set(left_out) <= set(wrong)
    assert within(fit.value("slope"), 3.0, fit.standard_uncertainty("slope"))
    assert abs(straight(X, y, loss="linear").value("slope") - 3.0) > 4 * fit.standard_uncertainty("slope")
    assert f"{len(left_out)} of 200 rows left out as outliers" in " ".join(fit.notes)


@pytest.mark.parametrize(("lapse", "rows"), [(0.0, 400), (5.0, 2000), (20.0, 8000)])
def test_repeating_rows_are_counted_as_fewer(lapse: float, rows: int) -> None:
    keep = np.exp(-1 / lapse) if lapse else 0.0
    truth = (1 + keep) / (1 - keep)  # closed form for a first-order autoregression
    found = [
        repetition(roughened(np.zeros(rows), Roughness(1.0, lapse), random_stream(s)), np.zeros(rows, int))
        for s in range(20)
    ]
    spread = float(np.std(found, ddof=1)) / np.sqrt(len(found))
    # Never below 1, so the mean for independent rows lies a little above it.
    assert within(float(np.mean(found)), truth, max(spread, 0.02 * truth))


def test_repetition_needs_a_run_of_some_length() -> None:
    assert repetition(np.ones(10), np.zeros(10, int)) == 1.0
    assert repetition(np.zeros(100), np.zeros(100, int)) == 1.0


@pytest.mark.long
def test_intervals_hold_for_repeating_rows() -> None:
    hits = 0
    for seed in range(120):
        fit = straight(X, roughened(2 + 3 * X, Roughness(0.5, lapse=4.0), random_stream(seed)))
        low, high = fit.interval(0.95)[1]
        hits += low <= 3.0 <= high
    # Few effective rows (about 25): the interval may be a little wide, but not too narrow.
    assert 0.91 <= hits / 120 <= 0.995


def test_known_quantities_are_carried_through_linearly() -> None:
    # y = slope (x - offset) q: closed forms d(slope)/dq = -slope/q, d(level)/d(offset) = slope.
    y = 2 + 3 * X
    known = (Known("q", 1.0, 0.02, "1"), Known("offset", 0.0, 0.1, "m"))
    fit = fit_curve(
        lambda p, k: p[0] + p[1] * (X - k[1]) * k[0],
        Observations.single(y, X, name="y", unit="m", abscissa_name="x", standard_deviation=0.1),
        [Parameter("level", "m", 0.0), Parameter("slope", "1", 1.0)],
        kind="line",
        known=known,
    )
    assert fit.contributions["q"] == pytest.approx([0.0, -3 * 0.02], abs=1e-6)
    assert fit.contributions["offset"] == pytest.approx([3 * 0.1, 0.0], abs=1e-6)
    extra = fit.covariance - fit.scatter_covariance
    assert extra == pytest.approx(np.diag([0.3**2, 0.06**2]), abs=1e-6)


def test_correlated_known_quantities_add_with_their_correlation() -> None:
    known = (Known("a", 1.0, 0.1, "m"), Known("b", 1.0, 0.1, "m"))
    fits = [
        fit_curve(
            lambda p, k: p[0] + k[0] + k[1] + 0 * X,
            Observations.single(3 + 0 * X, X, name="y", unit="m", abscissa_name="x", standard_deviation=1e-3),
            [Parameter("level", "m", 0.5)],
            kind="level",
            known=known,
            known_correlation=np.array([[1.0, r], [r, 1.0]]),
        )
        for r in (-1.0, 0.0, 1.0)
    ]
    extra = [float((fit.covariance - fit.scatter_covariance)[0, 0]) for fit in fits]
    assert extra == pytest.approx([0.0, 0.02, 0.04], abs=1e-9)


def test_an_expectation_is_weighed_in_as_one_more_reading() -> None:
    # Closed form: the mean of four readings of sd 1 (weight 4) and an expectation of sd 0.5 (weight 4).
    y = np.array([1.0, 2.0, 3.0, 2.0])
    fit = fit_curve(
        lambda p, _: p[0] + np.zeros(4),
        Observations.single(y, np.arange(4.0), name="y", unit="m", abscissa_name="x", standard_deviation=1.0),
        [Parameter("level", "m", 1.0, expected=(6.0, 0.5))],
        kind="level",
    )
    assert fit.value("level") == pytest.approx(4.0)
    assert fit.standard_uncertainty("level") == pytest.approx(np.sqrt(1 / 8))


def test_quantities_of_unequal_scatter_are_weighed_by_it() -> None:
    random = random_stream(2)
    values = np.concatenate([5 + 10 * random.standard_normal(300), 5 + 0.1 * random.standard_normal(300)])
    observations = Observations(
        values,
        np.tile(X[:100], 6),
        np.zeros(600, int),
        np.repeat([0, 1], 300),
        "x",
        ("rough", "fine"),
        ("m", "m"),
    )
    fit = fit_curve(
        lambda p, _: p[0] + np.zeros(600), observations, [Parameter("level", "m", 4.0)], kind="level"
    )
    assert fit.residual_sd == pytest.approx([10, 0.1], rel=0.2)
    assert fit.standard_uncertainty("level") == pytest.approx(0.1 / np.sqrt(300), rel=0.15)
    assert within(fit.value("level"), 5.0, fit.standard_uncertainty("level"))


@pytest.mark.long
def test_a_bend_that_the_model_leaves_out_is_flagged() -> None:
    flags = []
    for seed in range(60):
        scatter = roughened(np.zeros(200), Roughness(noise=0.5), random_stream(seed))
        right, wrong = straight(X, 2 + 3 * X + scatter), straight(X, 2 + 3 * X + 0.05 * X**2 + scatter)
        assert right.lack_of_fit is not None
        assert wrong.lack_of_fit is not None
        flags.append((right.lack_of_fit.flagged, wrong.lack_of_fit.flagged))
    false_alarms, found = np.mean(flags, axis=0)
    assert false_alarms <= 0.03
    assert found > 0.95
    assert any("lack of fit" in note for note in wrong.notes)


@pytest.mark.long
def test_the_chance_of_a_lack_of_fit_is_even_when_the_model_is_right() -> None:
    chances = [
        fit.p_value
        for seed in range(300)
        if (
            fit := straight(
                X, roughened(2 + 3 * X, Roughness(0.5), random_stream(seed)), loss="linear"
            ).lack_of_fit
        )
    ]
    # Share below a half of 300 even chances: standard error 0.029.
    assert within(float(np.mean(np.array(chances) < 0.5)), 0.5, 0.029)


def test_parameters_that_move_together_are_refused_by_name() -> None:
    with pytest.raises(SampleError) as caught:
        fit_curve(
            lambda p, _: (p[0] + p[1]) * X,
            Observations.single(X, X, name="y", unit="m", abscissa_name="x"),
            [Parameter("first", "1", 0.3), Parameter("second", "1", 0.4)],
            kind="line",
        )
    assert "cannot tell first and second apart" in caught.value.problem


def test_nearly_inseparable_estimates_are_said_with_their_correlation() -> None:
    x = np.linspace(20.0, 30.0, 200)
    fit = straight(x, roughened(2 + 3 * x, Roughness(noise=0.5), random_stream(3)))
    assert any("level and slope are not separated by this log: correlation -0.99" in n for n in fit.notes)


def test_too_few_rows_and_rows_without_a_number_are_refused() -> None:
    with pytest.raises(SampleError, match="too few rows"):
        straight(X[:2], X[:2])
    with pytest.raises(SampleError, match="no number"):
        straight(X, np.where(X > 5, np.nan, X))


def test_a_log_worth_too_few_rows_says_so_but_carries_its_estimate() -> None:
    fit = straight(X, np.cumsum(random_stream(8).standard_normal(200)))
    assert fit.effective_rows < 20
    weak = straight(X[:40], np.repeat([0.0, 5.0], 20), loss="linear")
    assert np.isfinite(weak.estimates).all()
    if weak.weakness:
        with pytest.raises(SampleError, match="not good enough"):
            weak.require()


def test_residuals_larger_than_the_stated_scatter_are_said() -> None:
    y = roughened(2 + 3 * X, Roughness(noise=0.5), random_stream(4))
    observations = Observations.single(y, X, name="y", unit="m", abscissa_name="x", standard_deviation=0.1)
    fit = fit_curve(
        lambda p, _: p[0] + p[1] * X,
        observations,
        [Parameter("level", "m", 0.0), Parameter("slope", "1", 1.0)],
        kind="line",
        loss="linear",
    )
    assert fit.chi_squared == pytest.approx(25 * 198, rel=0.3)
    assert "the residuals are larger than the stated scatter allows" in fit.notes


def test_an_estimate_at_its_bound_is_said() -> None:
    fit = fit_curve(
        lambda p, _: p[0] + np.zeros(200),
        Observations.single(
            roughened(-1 + 0 * X, Roughness(0.1), random_stream(1)), X, name="y", unit="m", abscissa_name="x"
        ),
        [Parameter("level", "m", 1.0, low=0.0)],
        kind="level",
    )
    assert fit.value("level") == pytest.approx(0.0, abs=1e-6)
    assert any("edge of what is physically possible" in note for note in fit.notes)
