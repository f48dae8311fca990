"""Distributions and designs against the worked examples of the standards on measurement uncertainty.

[pub]: a printed value; [formula]: recomputed from the published formula; [memory]: recalled, not seen.
"""

from __future__ import annotations

import math

import numpy as np
import pytest

from explorer.engine.sampling import correlated, random_column, sobol_columns
from explorer.graph.arrays import Array
from explorer.study.correlations import check_correlation
from explorer.study.distributions import Distribution, LogNormal, Normal, StudentT, TruncatedNormal
from explorer.study.distributions_between_limits import Uniform
from explorer.study.distributions_of_values import Tabulated
from tests.statistics_help import within

SIZE = 400_000


def draw(
    inputs: dict[str, Distribution], seed: int = 1, pairs: dict[tuple[str, str], float] | None = None
) -> dict[str, Array]:
    """Draw every input, with the correlations given."""
    uniforms = {name: random_column(seed, name, 0, SIZE) for name in inputs}
    if pairs:
        names = tuple(dict.fromkeys(name for pair in pairs for name in pair))
        uniforms.update(correlated(uniforms, names, check_correlation(names, pairs)))
    return {name: inputs[name].quantile(uniforms[name]) for name in inputs}


def interval(values: Array, coverage: float) -> tuple[float, float]:
    """Return the probabilistically symmetric coverage interval."""
    low, high = np.quantile(values, [(1 - coverage) / 2, (1 + coverage) / 2])
    return float(low), float(high)


def quantile_error(values: Array, probability: float) -> float:
    """Return the standard error of a quantile, from the density near it."""
    step = 0.005
    low, high = np.quantile(values, [probability - step, probability + step])
    return math.sqrt(probability * (1 - probability) / len(values)) * float(high - low) / (2 * step)


def sd_error(values: Array) -> float:
    """Return the standard error of a standard deviation, from the fourth moment."""
    square = (values - values.mean()) ** 2
    return float(square.std() / (2 * values.std() * math.sqrt(len(values))))


ROOT3 = math.sqrt(3.0)
# JCGM 101:2008, 9.2.2 to 9.2.4: four inputs added, each with mean 0; u [pub]; half width of the symmetric
# 95 % interval: 9.2.2 +-3.92 [pub], 9.2.3 +-3.88 [pub], 9.2.4 +-17.016 [formula].
ADDITIVE = [
    ([Normal(0.0, 1.0)] * 4, 2.0, 1.959964 * 2),
    ([Uniform(-ROOT3, ROOT3)] * 4, 2.0, 2 * ROOT3 * (2 - 0.6**0.25)),
    ([*[Uniform(-ROOT3, ROOT3)] * 3, Uniform(-10 * ROOT3, 10 * ROOT3)], math.sqrt(103), 17.016),
]


@pytest.mark.parametrize(("inputs", "sd", "half_width"), ADDITIVE)
def test_jcgm_101_additive_models(inputs: list[Distribution], sd: float, half_width: float) -> None:
    """Source: JCGM 101:2008, 9.2.2 to 9.2.4; the half width of 9.2.4 from its formula."""
    total = sum(draw({f"x{i}": entry for i, entry in enumerate(inputs)}).values(), np.zeros(SIZE))
    assert within(float(total.mean()), 0.0, sd / math.sqrt(SIZE))
    assert within(float(total.std()), sd, sd_error(total))
    low, high = interval(total, 0.95)
    assert within(low, -half_width, quantile_error(total, 0.025))
    assert within(high, half_width, quantile_error(total, 0.975))


@pytest.mark.parametrize("design", ["random", "sobol"])
@pytest.mark.parametrize("correlation", [0.0, 0.9])
@pytest.mark.parametrize("x1", [0.0, 0.010, 0.050])
def test_jcgm_101_comparison_loss(x1: float, correlation: float, design: str) -> None:
    """Source: JCGM 101:2008, 9.4: loss x1^2 + x2^2 of a power meter comparison, u = 0.005 for both, x2 = 0.

    E = x1^2 + 2 u^2 and Var = 4 u^4 (1 + r^2) + 4 x1^2 u^2 (formula); at r = 0 that prints as 50, 150, 2550
    and 50, 112, 502 in 1e-6.
    """
    u = 0.005
    inputs: dict[str, Distribution] = {"real": Normal(x1, u), "imaginary": Normal(0.0, u)}
    names = tuple(inputs)
    size = 2**18
    if design == "random":
        columns = {name: random_column(2, name, 0, size) for name in names}
    else:
        columns = sobol_columns(2, names, 0, 18)
    columns = correlated(columns, names, check_correlation(names, {("real", "imaginary"): correlation}))
    loss = (
        inputs["real"].quantile(columns["real"]) ** 2
        + inputs["imaginary"].quantile(columns["imaginary"]) ** 2
    )
    expected = x1**2 + 2 * u**2
    sd = math.sqrt(4 * u**4 * (1 + correlation**2) + 4 * x1**2 * u**2)
    assert within(float(loss.mean()), expected, sd / math.sqrt(size))
    assert within(float(loss.std()), sd, sd_error(loss))
    if design == "sobol":
        # The even design is right to a twentieth of the random error.
        assert abs(loss.mean() - expected) < 0.05 * sd / math.sqrt(size)


def arc_sine(low: float, high: float) -> Tabulated:
    """Tabulate a temperature that cycles: cumulative probabilities at points spaced by equal phase."""
    phase = np.linspace(0, math.pi, 400)
    values = (low + high) / 2 - (high - low) / 2 * np.cos(phase)
    return Tabulated.from_cumulative(tuple(values.tolist()), tuple((phase / math.pi).tolist()))


def curvilinear_trapezoid(low: float, high: float, inexact: float) -> Tabulated:
    """Tabulate a rectangle whose limits are known to within +-inexact (JCGM 101:2008, 6.4.3.2)."""
    middle, half = (low + high) / 2, (high - low) / 2
    inner, outer = half - inexact, half + inexact
    offset = np.unique(
        np.concatenate([-np.geomspace(inner, outer, 60), [0.0], np.geomspace(inner, outer, 60)])
    )
    density = np.log(outer / np.maximum(np.abs(offset), inner)) / (2 * inexact) / 2
    return Tabulated.from_densities(
        tuple((middle + offset).tolist()), tuple(np.maximum(density, 0.0).tolist())
    )


def student(mean: float, scale: float, degrees_of_freedom: int) -> StudentT:
    """Return a scaled and shifted t with the degrees of freedom the standard states."""
    return StudentT(mean, scale, degrees_of_freedom + 1)


def test_jcgm_101_gauge_block() -> None:
    """Source: JCGM 101:2008, 9.5: 838 nm, u = 36 nm, 99 % interval [745, 932] nm; table 10 from memory.

    Lengths in nm, temperatures in degC.  The printed results are of 1.26e6 trials and have whole digits, so
    half a digit is added to the standard error of these.
    """
    inputs: dict[str, Distribution] = {
        "standard": student(50_000_623.0, 25.0, 18),
        "difference": student(215.0, 6.0, 24),
        "comparator_random": student(0.0, 4.0, 5),
        "comparator_systematic": student(0.0, 7.0, 8),
        "expansion": Uniform(9.5e-6, 13.5e-6),
        "mean_temperature": Normal(-0.1, 0.2),
        "cycle": arc_sine(-0.5, 0.5),
        "expansion_difference": curvilinear_trapezoid(-1.0e-6, 1.0e-6, 0.1e-6),
        "temperature_difference": curvilinear_trapezoid(-0.050, 0.050, 0.025),
    }
    x = draw(inputs)
    length = x["difference"] + x["comparator_random"] + x["comparator_systematic"] + x["standard"] - 50e6
    strain = x["expansion_difference"] * (x["mean_temperature"] + x["cycle"])
    strain = strain + x["expansion"] * x["temperature_difference"]
    deviation = length - x["standard"] * strain
    assert abs(deviation.mean() - 838) < 0.5 + 4 * 36 / math.sqrt(SIZE)
    assert abs(deviation.std() - 36) < 0.5 + 4 * sd_error(deviation)
    low, high = interval(deviation, 0.99)
    assert abs(low - 745) < 0.5 + 4 * quantile_error(deviation, 0.005)
    assert abs(high - 932) < 0.5 + 4 * quantile_error(deviation, 0.995)


def test_tabulated_shapes_have_the_variance_of_the_standard() -> None:
    """Source: JCGM 101:2008, 6.4.6.3: (b - a)^2/8 for the arc sine; 6.4.3.3: (b - a)^2/12 + d^2/9."""
    assert arc_sine(-0.5, 0.5).sd ** 2 == pytest.approx(1 / 8, rel=1e-4)
    assert curvilinear_trapezoid(-1.0, 1.0, 0.5).sd ** 2 == pytest.approx(4 / 12 + 0.25 / 9, rel=1e-3)


# JCGM 100:2008, H.2, table H.2: voltage [V], current [mA], phase [rad] [memory].
VOLTAGE = (5.007, 4.994, 5.005, 4.990, 4.999)
CURRENT = (19.663, 19.639, 19.640, 19.685, 19.678)
PHASE = (1.0456, 1.0438, 1.0468, 1.0428, 1.0433)


def test_jcgm_100_resistance_and_reactance() -> None:
    """Source: JCGM 100:2008, H.2, tables H.2 and H.4; the last three correlations from memory.

    From five sets of readings taken together: r -0.36, 0.86, -0.65; R 127.732 +- 0.071, X 219.847 +- 0.296,
    Z 254.260 +- 0.236 ohm, r(R, X) -0.588, r(R, Z) -0.485, r(X, Z) 0.993.
    """
    readings = np.array([VOLTAGE, np.array(CURRENT) / 1000, PHASE])
    found: Array = np.asarray(np.corrcoef(readings))
    assert [round(float(found[i, j]), 2) for i, j in ((0, 1), (0, 2), (1, 2))] == [-0.36, 0.86, -0.65]

    names = ("voltage", "current", "phase")
    means, errors = readings.mean(axis=1), readings.std(axis=1, ddof=1) / math.sqrt(5)
    inputs: dict[str, Distribution] = {
        name: Normal(float(mean), float(error))
        for name, mean, error in zip(names, means, errors, strict=True)
    }
    pairs = {(names[i], names[j]): float(found[i, j]) for i, j in ((0, 1), (0, 2), (1, 2))}
    x = draw(inputs, pairs=pairs)
    impedance = x["voltage"] / x["current"]
    results = np.stack([impedance * np.cos(x["phase"]), impedance * np.sin(x["phase"]), impedance])
    for values, mean, sd in zip(results, (127.732, 219.847, 254.260), (0.071, 0.296, 0.236), strict=True):
        # Half a printed digit on top of the sampling error.
        assert abs(values.mean() - mean) < 0.0005 + 4 * sd / math.sqrt(SIZE)
        assert abs(values.std() - sd) < 0.0005 + 4 * sd_error(values)
    together: Array = np.asarray(np.corrcoef(results))
    for (i, j), r in {(0, 1): -0.588, (0, 2): -0.485, (1, 2): 0.993}.items():
        assert abs(together[i, j] - r) < 0.001 + 4 * (1 - r * r) / math.sqrt(SIZE)


def test_products_of_lognormals_are_lognormal() -> None:
    """Value from memory: the logarithms add, median 2 x 3, variances of the logarithms added."""
    x = draw({"a": LogNormal.from_median_factor(2.0, 1.5), "b": LogNormal.from_median_factor(3.0, 1.2)})
    product = np.log(x["a"] * x["b"])
    sd = math.hypot(math.log(1.5), math.log(1.2))
    assert within(float(product.mean()), math.log(6.0), sd / math.sqrt(SIZE))
    assert within(float(product.std()), sd, sd_error(product))


def test_half_normal_moments() -> None:
    """Value from memory: a normal cut at its mean, sqrt(2/pi) and sqrt(1 - 2/pi) standard deviations."""
    half = TruncatedNormal(1.0, 2.0, low=1.0)
    assert half.mean == pytest.approx(1 + 2 * math.sqrt(2 / math.pi), rel=1e-12)
    assert half.sd == pytest.approx(2 * math.sqrt(1 - 2 / math.pi), rel=1e-12)


def test_readings_as_jcgm_101_states() -> None:
    """Source: JCGM 101:2008, 6.4.9: t with n - 1 degrees of freedom, scale s/sqrt(n).

    Tabled t for 5 readings at 95 %: 2.776.
    """
    found = StudentT.from_readings(VOLTAGE)
    assert found.average == pytest.approx(4.9990, abs=5e-5)
    assert found.scale == pytest.approx(0.0032, abs=5e-5)
    high = float(found.quantile(np.array([0.975]))[0])
    assert (high - found.average) / found.scale == pytest.approx(2.776, abs=5e-4)
