"""Distributions of inputs: against scipy.stats, there and back, and read from what a builder writes."""

from __future__ import annotations

import math
import pickle
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats
from scipy.integrate import quad

from explorer.errors import DistributionError, SquatlineError, UnitError
from explorer.study.distributions import Distribution, Exact, LogNormal, Normal, StudentT, TruncatedNormal
from explorer.study.distributions_between_limits import (
    ArcSine,
    CurvilinearTrapezoid,
    Pert,
    Triangular,
    Uniform,
)
from explorer.study.distributions_of_values import Discrete, Empirical, Tabulated, smoothed
from explorer.study.entries import read_distribution

READINGS = (4.61, 4.58, 4.60, 4.63, 4.59, 4.60)
UNIFORMS = np.concatenate(
    [10.0 ** np.arange(-12, -2), np.linspace(0.01, 0.99, 99), 1 - 10.0 ** np.arange(-10, -2)]
)

# Each kind of this project beside the same distribution of scipy.stats, an independent reference.
CONTINUOUS: list[tuple[Distribution, Any]] = [
    (Normal(4.6, 0.03), stats.norm(4.6, 0.03)),
    (TruncatedNormal(1.0, 0.5, low=0.0), stats.truncnorm(-2, np.inf, 1, 0.5)),
    (TruncatedNormal(0.0, 1.0, 3.0, 4.0), stats.truncnorm(3, 4)),
    (TruncatedNormal(0.0, 1.0, -4.0, -3.0), stats.truncnorm(-4, -3)),
    (TruncatedNormal(5.0, 2.0, high=5.5), stats.truncnorm(-np.inf, 0.25, 5, 2)),
    (LogNormal.from_median_factor(0.02, 1.5), stats.lognorm(math.log(1.5), scale=0.02)),
    (Uniform(-1.0, 3.0), stats.uniform(-1, 4)),
    # From nothing: near an end other than that a value has too few digits for its probability.
    (ArcSine(0.0, 2.0), stats.arcsine(0, 2)),
    (Triangular(1.0, 1.5, 3.0), stats.triang(0.25, 1, 2)),
    (Triangular(1.0, 1.0, 3.0), stats.triang(0.0, 1, 2)),
    (Triangular(1.0, 3.0, 3.0), stats.triang(1.0, 1, 2)),
    (Pert(1.0, 1.5, 3.0), stats.beta(2, 4, 1, 2)),
    (Pert(1.0, 1.0, 3.0), stats.beta(1, 5, 1, 2)),
    (StudentT.from_readings(READINGS), stats.t(5, np.mean(READINGS), stats.sem(READINGS))),
    (StudentT.from_readings((1.0, 1.1)), stats.t(1, 1.05, 0.05)),
]
TABULATED = [
    Tabulated.from_densities((0.0, 1.0, 2.0, 4.0), (0.0, 1.0, 0.0, 0.5)),
    Tabulated.from_cumulative((0.0, 1.0, 2.0, 4.0), (0.0, 0.5, 0.5, 1.0)),
    smoothed(READINGS),
]
#: Between ends known a little, well and hardly at all.
TRAPEZOIDS = [CurvilinearTrapezoid(-1.0, 3.0, within) for within in (0.4, 0.01, 1.9)]
LISTED = [Discrete((3.0, 1.0, 2.0), (1.0, 2.0, 1.0)), Empirical((1.0, 2.0, 2.0, 5.0))]
EVERY = [*(ours for ours, _ in CONTINUOUS), *TABULATED, *TRAPEZOIDS, *LISTED, Exact(3.0)]


def kind(value: object) -> str:
    return repr(value)[:40]


@pytest.mark.parametrize(("ours", "reference"), CONTINUOUS, ids=kind)
def test_quantiles_agree_with_scipy(ours: Distribution, reference: Any) -> None:
    # Rounding the probability moves the value by that over the density; the beta table rounds to 1e-12.
    rounding = 2e-12 if isinstance(ours, Pert) else 4e-16
    values = reference.ppf(UNIFORMS)
    tolerance = 1e-9 * np.abs(values - reference.median()) + rounding * (
        1 / reference.pdf(values) + 4 * abs(values)
    )
    assert np.all(np.abs(ours.quantile(UNIFORMS) - values) <= tolerance)


@pytest.mark.parametrize(("ours", "reference"), CONTINUOUS, ids=kind)
def test_distribution_function_agrees_with_scipy(ours: Distribution, reference: Any) -> None:
    low, high = reference.ppf(0.001), reference.ppf(0.999)
    x = np.linspace(low - 0.1 * (high - low), high + 0.1 * (high - low), 201)
    assert np.allclose(ours.cdf(x), reference.cdf(x), rtol=1e-9, atol=1e-13)


@pytest.mark.parametrize(("ours", "reference"), CONTINUOUS, ids=kind)
def test_moments_agree_with_scipy(ours: Distribution, reference: Any) -> None:
    if isinstance(ours, StudentT) and ours.readings == 2:
        # Two readings: neither exists; the median stands for the mean and the spread says so.
        assert ours.mean == pytest.approx(1.05)
        assert ours.sd == math.inf
        return
    assert ours.mean == pytest.approx(reference.mean(), rel=1e-9)
    assert ours.sd == pytest.approx(reference.std(), rel=1e-7)


@pytest.mark.parametrize("ours", TABULATED, ids=kind)
def test_moments_of_a_table_are_those_of_its_values(ours: Tabulated) -> None:
    values = ours.quantile((np.arange(200_000) + 0.5) / 200_000)
    assert ours.mean == pytest.approx(values.mean(), rel=1e-6)
    assert ours.sd == pytest.approx(values.std(), rel=1e-6)


@pytest.mark.parametrize("ours", TRAPEZOIDS, ids=kind)
def test_a_trapezoid_is_a_uniform_one_over_all_widths(ours: CurvilinearTrapezoid) -> None:
    """Its distribution function, mean and spread by scipy's quad over the half widths it may have."""
    least, most = 2.0 - ours.ends_within, 2.0 + ours.ends_within
    for x in (-2.5, -0.9, -0.2, 1.0, 2.0, 2.9, 3.3):
        edges = [edge for edge in (abs(x - 1.0),) if least < edge < most] or None
        share = quad(lambda half, x=x: np.clip((x - 1 + half) / (2 * half), 0, 1), least, most, points=edges)
        assert float(ours.cdf(x)) == pytest.approx(share[0] / (most - least), abs=1e-9)
    variance = quad(lambda half: half**2 / 3, least, most)[0] / (most - least)
    assert [ours.mean, ours.sd**2] == pytest.approx([1.0, variance], rel=1e-9)


def test_a_table_with_few_rows_is_the_triangle() -> None:
    table, triangle = Tabulated.from_densities((1.0, 1.5, 3.0), (0.0, 7.0, 0.0)), Triangular(1.0, 1.5, 3.0)
    assert np.allclose(table.quantile(UNIFORMS), triangle.quantile(UNIFORMS), rtol=1e-12)
    assert [table.mean, table.sd] == pytest.approx([triangle.mean, triangle.sd])


def test_cumulative_probabilities_are_kept() -> None:
    table = TABULATED[1]
    assert np.allclose(
        table.cdf(np.array([-1.0, 0.0, 1.0, 1.5, 2.0, 3.0, 9.0])), [0, 0, 0.5, 0.5, 0.5, 0.75, 1]
    )


def test_smoothing_keeps_mean_and_spread() -> None:
    values = tuple(np.random.default_rng(1).gamma(2.0, size=300).tolist())
    smooth = smoothed(values)
    assert smooth.mean == pytest.approx(np.mean(values), rel=1e-3)
    assert smooth.sd == pytest.approx(np.std(values), rel=1e-3)


@settings(max_examples=200, deadline=None)
@given(
    u=st.floats(1e-9, 1 - 1e-9),
    index=st.integers(0, len(CONTINUOUS) + len(TABULATED) + len(TRAPEZOIDS) - 1),
)
def test_probability_to_value_and_back(u: float, index: int) -> None:
    ours = [*(ours for ours, _ in CONTINUOUS), *TABULATED, *TRAPEZOIDS][index]
    assert float(ours.cdf(ours.quantile(np.array([u])))[0]) == pytest.approx(u, rel=1e-7, abs=2e-12)


@settings(max_examples=100, deadline=None)
@given(
    centre=st.floats(-10, 10),
    spread=st.floats(0.1, 10),
    bounds=st.tuples(st.floats(-3, 3), st.floats(-3, 3)).filter(lambda pair: pair[1] - pair[0] > 0.01),
    u=st.floats(2.0**-53, 1 - 2.0**-53),
)
def test_a_truncated_normal_stays_inside(
    centre: float, spread: float, bounds: tuple[float, float], u: float
) -> None:
    low, high = (centre + spread * bound for bound in bounds)
    ours = TruncatedNormal(centre, spread, low, high)
    assert low <= float(ours.quantile(np.array([u]))[0]) <= high
    assert low <= ours.mean <= high
    assert 0 < ours.sd < spread


@pytest.mark.parametrize("ours", EVERY, ids=kind)
def test_quantiles_rise_keep_their_shape_and_survive_a_worker(ours: Distribution) -> None:
    u = np.linspace(0.001, 0.999, 60).reshape(3, 20)
    values = ours.quantile(u)
    assert values.shape == u.shape
    assert np.all(np.diff(values.ravel()) >= 0)
    assert np.array_equal(pickle.loads(pickle.dumps(ours)).quantile(u), values)


@pytest.mark.parametrize("ours", LISTED, ids=kind)
def test_lists_are_drawn_with_their_weights(ours: Distribution) -> None:
    drawn = ours.quantile((np.arange(1000) + 0.5) / 1000)
    assert drawn.mean() == pytest.approx(ours.mean)
    assert drawn.std() == pytest.approx(ours.sd)
    found, counts = np.unique(drawn, return_counts=True)
    assert [ours.probability_at(value) for value in found] == pytest.approx(counts / 1000)
    assert np.allclose(ours.cdf(found), np.cumsum(counts) / 1000)
    assert ours.probability_at(float(found[0]) + 0.5) == 0


def test_nominal_values() -> None:
    assert Discrete((3.0, 1.0, 2.0), (1.0, 2.0, 1.0)).nominal == 1.0
    assert StudentT.from_readings(READINGS).nominal == pytest.approx(np.mean(READINGS))
    assert LogNormal.from_mean_sd(2.0, 0.5).nominal == pytest.approx(2.0)
    assert LogNormal.from_mean_sd(2.0, 0.5).sd == pytest.approx(0.5)


def test_readings_as_jcgm_101_says() -> None:
    # JCGM 101:2008, 6.4.9.4: expectation the average, variance (n - 1)/(n - 3) s^2/n for n > 3.
    ours = StudentT.from_readings(READINGS)
    assert ours.sd == pytest.approx(math.sqrt(5 / 3) * np.std(READINGS, ddof=1) / math.sqrt(6))
    assert StudentT.from_readings(READINGS[:3]).sd == math.inf
    assert "too few" in StudentT.from_readings(READINGS[:3]).words("kg")
    assert "too few" not in ours.words("kg")


def test_probability_outside_a_range() -> None:
    assert Normal(0.0, 1.0).probability_outside(at_least=-1.0, at_most=2.0) == pytest.approx(
        stats.norm.cdf(-1) + stats.norm.sf(2)
    )
    assert Normal(1.0, 1.0).probability_outside(above=0.0) == pytest.approx(stats.norm.cdf(-1))
    assert Uniform(1.0, 2.0).probability_outside() == 0.0
    # A value on the bound is inside "at least" and outside "above".
    zero = Exact(0.0)
    assert (zero.probability_outside(at_least=0.0), zero.probability_outside(above=0.0)) == (0.0, 1.0)
    dice = Discrete((1.0, 2.0, 3.0), (1.0, 1.0, 2.0))
    assert dice.probability_outside(at_least=2.0) == pytest.approx(0.25)
    assert dice.probability_outside(above=2.0) == pytest.approx(0.5)
    assert dice.probability_outside(above=1.0, at_least=2.0, at_most=2.0) == pytest.approx(0.75)


ENTRIES: list[tuple[object, str, Distribution, str]] = [
    ("325 mm", "m", Exact(0.325), "mm"),
    (0.83, "1", Exact(0.83), "1"),
    ({"value": 3, "unit": "mm", "source": "drawing", "note": "n"}, "m", Exact(0.003), "mm"),
    ({"mean": 4.6, "sd": 0.03, "unit": "kg"}, "kg", Normal(4.6, 0.03), "kg"),
    ({"mean": "20 degC", "sd": "2 K"}, "K", Normal(293.15, 2.0), "degC"),
    ({"mean": 20, "sd": 2, "unit": "degC"}, "K", Normal(293.15, 2.0), "degC"),
    ({"mean": 1, "plus_minus": 0.06}, "1", Normal(1.0, 0.03), "1"),
    ({"mean": 1, "plus_minus": 0.06, "coverage": 3}, "1", Normal(1.0, 0.02), "1"),
    ({"mean": "2 N/m", "sd": "10 %"}, "N/m", Normal(2.0, 0.2), "N/m"),
    ({"mean": 0.5, "sd": "10 %"}, "1", Normal(0.5, 0.1), "1"),
    ({"mean": 1, "sd": 1, "low": 0}, "1", TruncatedNormal(1.0, 1.0, 0.0), "1"),
    ({"mean": 1, "plus_minus": 4, "low": 0, "high": 3}, "1", TruncatedNormal(1.0, 2.0, 0.0, 3.0), "1"),
    ({"median": 2, "factor": 1.5}, "1", LogNormal.from_median_factor(2.0, 1.5), "1"),
    ({"mean": 2, "sd": 1, "distribution": "log-normal"}, "1", LogNormal.from_mean_sd(2.0, 1.0), "1"),
    ({"low": 1, "high": 2}, "1", Uniform(1.0, 2.0), "1"),
    ({"mean": 2, "plus_minus": 1, "distribution": "rectangular"}, "1", Uniform(1.0, 3.0), "1"),
    ({"low": 1, "high": 3, "ends_within": "5 %"}, "1", CurvilinearTrapezoid(1.0, 3.0, 0.05), "1"),
    ({"low": 1, "high": 3, "unit": "mm", "distribution": "arc sine"}, "m", ArcSine(0.001, 0.003), "mm"),
    ({"low": 1, "mode": 2, "high": 4}, "1", Triangular(1.0, 2.0, 4.0), "1"),
    ({"mean": 2, "plus_minus": 1, "distribution": "triangular"}, "1", Triangular(1.0, 2.0, 3.0), "1"),
    ({"low": 1, "mode": 2, "high": 4, "distribution": "PERT"}, "1", Pert(1.0, 2.0, 4.0), "1"),
    ({"readings": [1, 2, 4]}, "1", StudentT.from_readings((1.0, 2.0, 4.0)), "1"),
    ({"values": [1, 2], "weights": [1, 3]}, "1", Discrete((1.0, 2.0), (1.0, 3.0)), "1"),
    ({"values": [1, 2], "distribution": "discrete"}, "1", Discrete((1.0, 2.0), (1.0, 1.0)), "1"),
    ({"values": [1, 2, 2]}, "1", Empirical((1.0, 2.0, 2.0)), "1"),
    ({"values": [1, 2, 2], "smooth": True}, "1", smoothed((1.0, 2.0, 2.0)), "1"),
    ({"table": [[1, 0], [2, 1]]}, "1", Tabulated.from_densities((1.0, 2.0), (0.0, 1.0)), "1"),
    ({"cumulative": [[1, 0], [2, 1]]}, "1", Tabulated.from_cumulative((1.0, 2.0), (0.0, 1.0)), "1"),
    # As people write it: a spread in the same text is plus or minus two standard deviations.
    ("6.20 ± 0.04 kg", "kg", Normal(6.2, 0.02), "kg"),
    ("6.20 +- 0.04 kg", "kg", Normal(6.2, 0.02), "kg"),
    ({"value": "325 +/- 1 mm", "source": "tape"}, "m", Normal(0.325, 0.0005), "mm"),
    ({"mean": "6.20 ± 0.04", "unit": "kg", "coverage": 1}, "kg", Normal(6.2, 0.04), "kg"),
    ({"mean": "6.0 kg ± 1 %"}, "kg", Normal(6.0, 0.03), "kg"),
    ({"value": 6.2, "sd": 0.04, "unit": "kg"}, "kg", Normal(6.2, 0.04), "kg"),
    ({"mean": "50 ± 25 %", "distribution": "uniform"}, "1", Uniform(0.25, 0.75), "%"),
    ({"mean": 2, "sd": 1, "unit": "kg/mm"}, "N/m", Normal(19613.3, 9806.65), "kgf/mm"),
]


@pytest.mark.parametrize(("entry", "unit", "distribution", "used"), ENTRIES, ids=kind)
def test_entries_become_distributions(
    entry: object, unit: str, distribution: Distribution, used: str, tmp_path: Path
) -> None:
    assert read_distribution(entry, unit, "inputs.x", tmp_path) == (distribution, used)


def test_a_column_of_a_file(tmp_path: Path) -> None:
    (tmp_path / "log.csv").write_text("\ufefftime, gap \n1,5\n2,7\n\n3,6\n", encoding="utf-8")
    (tmp_path / "bare.csv").write_text("5\n7\n6\n", encoding="utf-8")
    wanted = Empirical((0.005, 0.006, 0.007))
    for entry in ({"file": "log.csv", "column": "gap", "unit": "mm"}, {"file": "bare.csv", "unit": "mm"}):
        assert read_distribution(entry, "m", "inputs.x", tmp_path) == (wanted, "mm")


REFUSED: list[tuple[object, str, type[SquatlineError], tuple[str, ...]]] = [
    ({"mean": 1, "sdd": 1}, "1", DistributionError, ("no key 'sdd'", "did you mean 'sd'?")),
    ({"mean": 1, "sd": 0}, "1", DistributionError, ("above zero", "mean = 1, sd = 0", "value = ...")),
    ({"mean": 1, "sd": -1}, "1", DistributionError, ("above zero",)),
    ({"mean": 1, "plus_minus": 1, "coverage": 0}, "1", DistributionError, ("coverage",)),
    ({"mean": 1, "plus_minus": 0, "distribution": "uniform"}, "1", DistributionError, ("half width",)),
    ({"mean": 1}, "1", DistributionError, ("do not make", "add sd")),
    ({"mean": 1, "sd": 1, "mode": 1}, "1", DistributionError, ("leave out mode",)),
    ({"mean": "1 ± 1 mm", "sd": "1 mm"}, "m", DistributionError, ("given twice", "leave out sd")),
    ("1 ± 2 kg", "m", UnitError, ("a value in kg",)),
    ("1,5 ± 0,2 mm", "m", UnitError, ('decimal points: "1.5 ± 0.2 mm"',)),
    ({"low": 1, "distribution": "pert"}, "1", DistributionError, ("pert", "add high, mode")),
    ({}, "1", DistributionError, ("nothing", "mean + sd")),
    ({"low": "3 mm", "high": "2 mm"}, "m", DistributionError, ("low is not below high", "'3 mm'")),
    ({"low": 1, "high": 3, "ends_within": 1}, "1", DistributionError, ("below (high - low) / 2",)),
    ({"low": 3, "high": 1, "distribution": "arcsine"}, "1", DistributionError, ("low is not below high",)),
    ({"low": 1, "mode": 9, "high": 2}, "1", DistributionError, ("mode lies outside",)),
    ({"mean": 0, "sd": 1, "low": 9}, "1", DistributionError, ("cut away nearly",)),
    ({"mean": 0, "sd": 1, "distribution": "truncated normal"}, "1", DistributionError, ("needs a bound",)),
    ({"mean": -1, "sd": 1, "distribution": "lognormal"}, "1", DistributionError, ("positive",)),
    ({"median": 1, "factor": 0.5}, "1", DistributionError, ("above 1",)),
    ({"readings": [1]}, "1", DistributionError, ("one reading",)),
    ({"readings": [1, 1]}, "1", DistributionError, ("alike", "too coarse")),
    ({"readings": 1}, "1", DistributionError, ("is a list",)),
    ({"values": [1, 2], "weights": [1, -1]}, "1", DistributionError, ("weight",)),
    ({"values": [1, 2], "weights": [1]}, "1", DistributionError, ("go together",)),
    ({"values": [1, 1], "weights": [1, 2]}, "1", DistributionError, ("twice",)),
    ({"values": [1, 2], "weights": ["a", 1]}, "1", DistributionError, ("plain numbers",)),
    ({"values": [1, 1]}, "1", DistributionError, ("alike",)),
    ({"values": [1, 2], "smooth": "yes"}, "1", DistributionError, ("true or false",)),
    ({"table": [[2, 1], [1, 1]]}, "1", DistributionError, ("rising order",)),
    ({"table": [[1, 1], [2, -1]]}, "1", DistributionError, ("negative",)),
    ({"table": [[1, 0], [2, 0]]}, "1", DistributionError, ("zero",)),
    ({"table": [[1, 1]]}, "1", DistributionError, ("two rows",)),
    ({"table": [[1, 1, 1]]}, "1", DistributionError, ("pair",)),
    ({"cumulative": [[1, 0], [2, 0.9]]}, "1", DistributionError, ("rise from 0 to 1",)),
    ({"distribution": "uniforn"}, "1", DistributionError, ("'uniforn'", "did you mean 'uniform'?")),
    ({"mean": "20 degC", "sd": "2 %"}, "K", DistributionError, ("share of a temperature",)),
    ({"mean": 1, "sd": 1, "unit": "kg"}, "m", UnitError, ("a value in kg",)),
    ({"mean": "1 mm", "sd": "1 mm", "unit": "kg"}, "m", UnitError, ("a value in kg",)),
    ({"mean": 1, "sd": 1, "unit": 3}, "m", DistributionError, ("a unit is a text",)),
    ({"mean": "1 mm", "sd": 1}, "m", UnitError, ("unit is missing",)),
    ([1, 2], "m", UnitError, ("number or a text",)),
    ({"file": "none.csv"}, "1", DistributionError, ("none.csv", "no such file")),
    ({"file": "."}, "1", DistributionError, ("no ordinary file", "a folder")),
    ({"file": "two.csv"}, "1", DistributionError, ("several columns", "first, second")),
    ({"file": "two.csv", "column": "secnd"}, "1", DistributionError, ("did you mean 'second'?",)),
    ({"file": "two.csv", "column": "second"}, "1", DistributionError, ("row 3", "'x'")),
    ({"file": "empty.csv"}, "1", DistributionError, ("empty",)),
    ({"file": "latin.csv"}, "1", DistributionError, ("UTF-8",)),
    ({"file": "large.csv"}, "1", DistributionError, ("too large",)),
]


@pytest.mark.parametrize(("entry", "unit", "error", "said"), REFUSED, ids=kind)
def test_entries_refused_with_help(
    entry: object, unit: str, error: type[SquatlineError], said: tuple[str, ...], tmp_path: Path
) -> None:
    (tmp_path / "two.csv").write_text("first,second\n1,2\n3,x\n", encoding="utf-8")
    (tmp_path / "empty.csv").write_text("", encoding="utf-8")
    (tmp_path / "latin.csv").write_bytes(b"\xb5m\n1\n")
    with (tmp_path / "large.csv").open("wb") as large:
        large.truncate(30_000_000)
    with pytest.raises(error) as caught:
        read_distribution(entry, unit, "inputs.x", tmp_path)
    message = str(caught.value)
    assert "inputs.x" in message
    for part in said:
        assert part in message


@pytest.mark.parametrize(
    ("ours", "unit", "words"),
    [
        (Exact(0.325), "mm", "exactly 325 mm"),
        (Normal(4.6, 0.03), "kg", "normal, mean 4.600 kg, sd 0.030 kg"),
        (Normal(293.15, 2.0), "degC", "normal, mean 20.0 °C, sd 2.0 °C"),
        (Uniform(0.4, 0.9), "%", "uniform, 40 % to 90 %"),
        (ArcSine(-0.5, 0.5), "1", "arcsine, swinging between -0.5 and 0.5"),
        (
            CurvilinearTrapezoid(0.001, 0.003, 0.0002),
            "mm",
            "uniform, 1 mm to 3 mm, each end to within 0.2 mm",
        ),
        (Triangular(0.0, 0.001, 0.002), "mm", "triangular, 0 mm to 2 mm, most likely 1 mm"),
        (TruncatedNormal(1.0, 0.5, 0.0), "N", "normal, mean 1.00 N, sd 0.50 N, never below 0 N"),
        (Discrete((1.0, 2.0), (1.0, 3.0)), "1", "one of 1 (25\xa0%), 2 (75\xa0%)"),
    ],
)
def test_distributions_in_words(ours: Distribution, unit: str, words: str) -> None:
    assert ours.words(unit) == words
