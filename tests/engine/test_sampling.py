"""Designs in the unit cube: keyed by name, stratified, independent."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import stats
from scipy.special import ndtri
from scipy.stats import qmc

from explorer.engine.sampling import (
    _directions,
    _places,
    correlated,
    random_column,
    saltelli_columns,
    sobol_columns,
)
from explorer.errors import CorrelationError, SampleError
from explorer.graph.arrays import Array
from explorer.study.correlations import check_correlation, correlation_matrix
from tests.statistics_help import within

NAMES = ("air_density", "mass", "wing_area", "front_wheel_rate", "speed@closed")


def test_a_random_column_depends_on_seed_name_and_chunk_alone() -> None:
    column = random_column(1, "mass", 0, 1000)
    assert np.array_equal(random_column(1, "mass", 0, 400), column[:400])
    for other in (
        random_column(2, "mass", 0, 1000),
        random_column(1, "mas", 0, 1000),
        random_column(1, "mass", 1, 1000),
    ):
        assert not np.isin(other, column).any()


def test_random_numbers_come_again_on_any_machine() -> None:
    # Of an earlier run: a study run again years later must give its old numbers.
    assert [value.hex() for value in random_column(20261, "mass", 3, 2).tolist()] == [
        "0x1.a848491da4d1fp-1",
        "0x1.187dcc38bffe2p-2",
    ]
    assert [value.hex() for value in sobol_columns(20261, ["mass"], 3, 1)["mass"].tolist()] == [
        "0x1.9b099b3f163dfp-1",
        "0x1.bc1fc99ae14acp-3",
    ]


def test_random_columns_are_uniform_and_independent() -> None:
    size = 200_000
    a, b = random_column(1, "mass", 0, size), random_column(1, "wing_area", 0, size)
    next_chunk = random_column(1, "mass", 1, size)
    assert 0 < a.min() < a.max() < 1
    assert stats.kstest(a, "uniform").pvalue > 1e-4
    for other in (b, next_chunk, np.roll(a, 1)):
        assert within(float(np.corrcoef(a, other)[0, 1]), 0.0, 1 / math.sqrt(size))


def test_direction_numbers_are_those_of_scipy() -> None:
    # scipy.stats.qmc.Sobol, an independent implementation on the same tables, lists in Gray-code order.
    dimensions, power = 300, 7
    points = qmc.Sobol(dimensions, scramble=False, bits=30).random_base2(power)
    gray = np.arange(2**power) ^ (np.arange(2**power) >> 1)
    for dimension in range(dimensions):
        digits = np.zeros(2**power, np.uint64)
        for bit, direction in enumerate(_directions(dimension)[:power]):
            digits[(gray >> bit) & 1 == 1] ^= np.uint64(direction)
        assert np.array_equal(digits / 2.0**52, points[:, dimension])


@pytest.mark.parametrize("power", [0, 1, 6, 12])
def test_every_sobol_column_has_one_point_in_each_interval(power: int) -> None:
    for column in sobol_columns(1, [f"input {n}" for n in range(40)], 0, power).values():
        assert np.array_equal(np.sort((column * 2**power).astype(int)), np.arange(2**power))


def test_the_first_two_dimensions_are_a_net() -> None:
    # I. M. Sobol, 1967: t = 0 in the first two dimensions: every box of area 2**-m holds one of 2**m points.
    power = 10
    for replicate in range(3):
        first, second = saltelli_columns(1, ["x"], replicate, power)
        for split in range(power + 1):
            rows = (first["x"] * 2**split).astype(int)
            columns = (second["x"] * 2 ** (power - split)).astype(int)
            assert np.unique(rows * 2 ** (power - split) + columns).size == 2**power


def smooth(columns: dict[str, Array]) -> float:
    """Mean of a product of exponentials of normals; its expectation is the product of exp(w^2 / 2)."""
    weights = (0.5, 0.4, 0.3, 0.2, 0.1)
    return float(np.mean(np.exp(sum(w * ndtri(u) for w, u in zip(weights, columns.values(), strict=True)))))


EXPECTED = math.exp(sum(w * w for w in (0.5, 0.4, 0.3, 0.2, 0.1)) / 2)


def test_scrambled_points_are_unbiased_and_far_better_than_random() -> None:
    power, replicates = 11, 48
    sobol = np.array([smooth(sobol_columns(3, NAMES, r, power)) for r in range(replicates)])
    random = np.array(
        [smooth({n: random_column(3, n, r, 2**power) for n in NAMES}) for r in range(replicates)]
    )
    assert within(float(sobol.mean()), EXPECTED, float(sobol.std(ddof=1)) / math.sqrt(replicates))
    assert within(float(random.mean()), EXPECTED, float(random.std(ddof=1)) / math.sqrt(replicates))
    even = np.array([smooth(saltelli_columns(3, NAMES, r, power)[0]) for r in range(replicates)])
    # Random sampling would need ten times as many samples, and a hundred times in the first dimensions.
    assert sobol.std() < random.std() / math.sqrt(10)
    assert even.std() < random.std() / math.sqrt(100)


def test_error_falls_faster_than_the_root_of_the_number_of_points() -> None:
    errors = [np.std([smooth(sobol_columns(5, NAMES, r, power)) for r in range(24)]) for power in (7, 13)]
    # Random sampling would gain a factor of 8.
    assert errors[0] / errors[1] > 16


def test_another_input_leaves_the_columns_as_they_are() -> None:
    before = sobol_columns(1, NAMES, 2, 6)
    after = sobol_columns(1, ("aaa", *NAMES, "zzz"), 2, 6)
    assert all(np.array_equal(before[name], after[name]) for name in NAMES)
    first, second = saltelli_columns(1, NAMES, 2, 6)
    more_first, more_second = saltelli_columns(1, (*NAMES, "aaa"), 2, 6)
    assert all(np.array_equal(first[name], more_first[name]) for name in NAMES)
    assert all(np.array_equal(second[name], more_second[name]) for name in NAMES)


def test_no_two_names_share_a_dimension() -> None:
    places = _places(tuple(sorted(f"input {n}" for n in range(3000))))
    assert len(set(places.values())) == 3000


def test_replicates_and_samples_are_independent() -> None:
    power, replicates = 5, 400
    first = [smooth(saltelli_columns(1, NAMES, r, power)[0]) for r in range(replicates)]
    second = [smooth(saltelli_columns(1, NAMES, r, power)[1]) for r in range(replicates)]
    error = 1 / math.sqrt(replicates)
    assert within(float(np.corrcoef(first, second)[0, 1]), 0.0, error)
    assert within(float(np.corrcoef(first[:-1], first[1:])[0, 1]), 0.0, error)


def test_too_large_designs_are_refused() -> None:
    with pytest.raises(SampleError, match="too large"):
        sobol_columns(1, ["x"], 0, 31)
    with pytest.raises(SampleError, match="too large"):
        saltelli_columns(1, [str(n) for n in range(10_601)], 0, 0)


def test_correlated_columns_have_the_correlation_of_their_scores() -> None:
    size = 100_000
    names = ("a", "b", "c")
    matrix = check_correlation(names, {("a", "b"): 0.8, ("b", "c"): -0.5})
    uniforms = {name: random_column(1, name, 0, size) for name in names}
    columns = correlated(uniforms, names, matrix)
    found = np.corrcoef([ndtri(columns[name]) for name in names])
    for (i, j), rho in np.ndenumerate(matrix):
        if i != j:
            assert within(float(found[i, j]), float(rho), float(1 - rho**2) / math.sqrt(size))
    # Rank correlation of a Gaussian copula: 6/pi asin(rho/2), K. Pearson 1907.
    rank = stats.spearmanr(columns["a"], columns["b"]).statistic
    assert within(float(rank), 6 / math.pi * math.asin(0.4), 1 / math.sqrt(size))
    assert all(stats.kstest(columns[name], "uniform").pvalue > 1e-4 for name in names)
    assert np.array_equal(columns["a"], uniforms["a"])


def test_correlated_columns_do_not_depend_on_how_they_are_cut() -> None:
    names = ("a", "b", "c", "d")
    matrix = correlation_matrix(names, {("a", "b"): 0.3, ("c", "d"): 0.6, ("a", "d"): -0.2})
    uniforms = {name: random_column(1, name, 0, 1003) for name in names}
    whole = correlated(uniforms, names, matrix)
    start = correlated({name: column[:17] for name, column in uniforms.items()}, names, matrix)
    assert all(np.array_equal(whole[name][:17], start[name]) for name in names)
    assert all(np.all((column > 0) & (column < 1)) for column in whole.values())


def test_where_no_pair_alone_can_be_put_right_all_are_weakened() -> None:
    pairs = dict.fromkeys((("a", "b"), ("b", "c"), ("c", "d"), ("d", "a"), ("a", "c"), ("b", "d")), -0.9)
    with pytest.raises(CorrelationError, match="weaken all of them: 0\\.37 times"):
        check_correlation(("a", "b", "c", "d"), pairs)


def test_correlations_that_cannot_all_hold_name_the_pair() -> None:
    pairs = {("a", "b"): 0.9, ("b", "c"): 0.9, ("a", "c"): -0.3, ("c", "d"): 0.1}
    with pytest.raises(CorrelationError) as caught:
        check_correlation(("a", "b", "c", "d"), pairs)
    message = str(caught.value)
    assert "a and c disagree most" in message
    assert "a and b: 0.9" in message
    # The range it offers holds, and beyond it nothing does.
    assert "between 0.63 and 0.99" in message
    for value, holds in ((0.63, True), (0.99, True), (0.61, False), (0.999, False)):
        smallest = np.linalg.eigvalsh(correlation_matrix(("a", "b", "c", "d"), {**pairs, ("a", "c"): value}))[
            0
        ]
        assert (smallest > 0) == holds
    # The remedy it offers does hold, and nearly as much as can.
    share = float(message.rsplit("weaken all of them: ")[1].split(" ")[0])
    scaled = {pair: share * value for pair, value in pairs.items()}
    assert np.linalg.eigvalsh(check_correlation(("a", "b", "c", "d"), scaled))[0] < 0.03


@pytest.mark.parametrize(
    ("pairs", "said"),
    [
        ({("a", "b"): 1.0}, "a and b is not between -1 and 1"),
        ({("a", "b"): -1.2}, "not between"),
        ({("a", "b"): math.nan}, "not between"),
        ({("a", "a"): 0.5}, "with itself"),
        ({("a", "b"): 0.5, ("b", "a"): 0.5}, "given twice"),
    ],
)
def test_correlations_refused(pairs: dict[tuple[str, str], float], said: str) -> None:
    with pytest.raises(CorrelationError, match=said):
        check_correlation(("a", "b"), pairs)
