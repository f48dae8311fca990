"""Sobol indices: odd outputs, ties, intervals that mean what they say."""

from __future__ import annotations

import math

import numpy as np
import pytest

from explorer.errors import SampleError
from explorer.estimators import sensitivity
from explorer.estimators.sobol_parts import Estimator, replicate_parts
from tests.saltelli import Array, evaluated, ishigami, unit_design
from tests.statistics_help import within

NAMES = ["a", "b", "c"]


def by_name(found: sensitivity.Sensitivity) -> dict[str, sensitivity.Index]:
    return {index.name: index for index in found.indices}


def analysed(outputs: Array, **options: object) -> tuple[sensitivity.Sensitivity, ...]:
    names = [f"output {k}" for k in range(outputs.shape[-1])]
    return sensitivity.sobol_indices(outputs, NAMES, names, cross_check=False, **options)  # type: ignore[arg-type]


@pytest.fixture(scope="module")
def plain() -> Array:
    return evaluated(ishigami, unit_design(3, 256, 8, seed=11))


@pytest.fixture(scope="module")
def swapped() -> Array:
    return evaluated(ishigami, unit_design(3, 256, 8, seed=12, swapped=True))


def test_leading_input_first_and_order_settled(plain: Array) -> None:
    (found,) = analysed(plain)
    assert [index.name for index in found.indices] == NAMES
    assert [index.rank for index in found.indices] == [1, 2, 3]
    assert found.settled
    assert (found.samples, found.replicates, found.left_out, found.note) == (2048, 8, 0, "")


def test_many_outputs_in_one_pass_equal_each_alone(swapped: Array) -> None:
    outputs = np.concatenate([swapped, np.exp(swapped / 5), swapped > 9], axis=-1)
    together = analysed(outputs, pairs=True)
    for k, found in enumerate(together):
        (alone,) = analysed(outputs[..., [k]], pairs=True)
        for one, other in zip(found.indices, alone.indices, strict=True):
            assert one.total == other.total or one.total.value == pytest.approx(other.total.value, abs=1e-13)
        assert [pair.names for pair in found.pairs] == [pair.names for pair in alone.pairs]


def test_replicates_reduced_one_at_a_time_equal_all_at_once(plain: Array) -> None:
    parts = [replicate_parts(block, 3) for block in plain]
    streamed = sensitivity.indices_from_parts(parts, NAMES, ["output 0"], estimator="saltelli")
    assert streamed == analysed(plain)


def test_constant_output_says_that_it_does_not_vary(plain: Array) -> None:
    for constant in (0.0, 3.7, -1e6):
        (found,) = analysed(np.full_like(plain, constant))
        assert all(index.total.value == 0 and index.first.value == 0 for index in found.indices)
        assert all(index.rank == 1 for index in found.indices)
        assert found.note.startswith("does not vary")


def test_wobble_from_rounding_counts_as_constant(plain: Array) -> None:
    wobble = np.random.default_rng(1).integers(-2, 3, plain.shape) * np.spacing(1e5)
    (found,) = analysed(1e5 + wobble)
    assert found.note.startswith("does not vary")


def test_rows_that_are_not_finite_are_removed_whole_and_counted(plain: Array) -> None:
    outputs = np.concatenate([plain, plain], axis=-1)
    outputs[2, 10, 1, 0], outputs[2, 11, 4, 0], outputs[5, 10, 0, 0] = np.nan, np.inf, -np.inf
    damaged, whole = analysed(outputs)
    assert (damaged.left_out, whole.left_out) == (3, 0)
    assert damaged.samples == whole.samples - 3
    assert "3 rows without an answer" in damaged.note
    for index, other in zip(damaged.indices, whole.indices, strict=True):
        assert index.total.value == pytest.approx(other.total.value, abs=0.02)


def test_removed_rows_do_not_enter_the_estimate(plain: Array) -> None:
    damaged = plain.copy()
    damaged[:, 200:, 2] = np.nan
    (found,) = analysed(damaged)
    (cut,) = analysed(plain[:, :200])
    for index, other in zip(found.indices, cut.indices, strict=True):
        assert index.first.value == pytest.approx(other.first.value, abs=1e-12)
        assert index.total.high == pytest.approx(other.total.high, abs=1e-12)
    assert "22% of the rows have no answer" in found.note


def test_nothing_finite_is_said_and_not_ranked_in_silence(plain: Array) -> None:
    (found,) = analysed(np.full_like(plain, np.nan))
    assert found.samples == 0
    assert found.note.startswith("no evaluation is a finite number")


@pytest.mark.parametrize(
    ("estimator", "compared"),
    # The others by Saltelli's formula hang on the mean that is taken away first, as they do in SALib.
    [("saltelli", ("total", "variance")), ("azzini", ("first", "total", "scale", "together", "variance"))],
)
def test_a_row_that_counts_twice_is_that_row_twice(
    swapped: Array, estimator: Estimator, compared: tuple[str, ...]
) -> None:
    """More rows than one run of them holds, and one without an answer."""
    block = np.concatenate(list(swapped))[:700]
    block[77, 3] = np.nan
    times = np.random.default_rng(6).integers(0, 4, len(block))
    weighted = replicate_parts(block, 3, estimator=estimator, pairs=True, weights=times[None].astype(float))
    repeated = replicate_parts(np.repeat(block, times, axis=0), 3, estimator=estimator, pairs=True)
    for part in compared:
        np.testing.assert_allclose(getattr(weighted, part), getattr(repeated, part), rtol=1e-9, atol=1e-12)
    assert np.ptp(weighted.together) > 0


def test_wobbling_is_not_varying_but_one_evaluation_of_many_is(swapped: Array) -> None:
    """What differs in the last digits only is rounding; what differs once, in one block, is not."""
    wobbles, once = np.full((2, *swapped.shape), 0.3)
    wobbles[:, ::3, 1] = 0.1 + 0.2
    once[3, 100, 2] = 0.3 + 1e-12
    still, rare = analysed(np.concatenate([wobbles, once], axis=-1))
    assert np.unique(wobbles).size == 2
    assert all(index.total.value == 0 for index in still.indices)
    assert "does not vary" in still.note
    # Input b alone was changed there, and only beside A.
    parts = replicate_parts(once[3], 3)
    assert parts.total[0, 1, 0] > 0 == parts.total[0, 0, 0] == parts.variance[0, 0]
    assert "does not vary" in rare.note


@pytest.mark.parametrize("offset", [1e6, -1e9])
def test_a_huge_offset_changes_nothing(plain: Array, swapped: Array, offset: float) -> None:
    for outputs in (plain, swapped):
        (near,), (far,) = analysed(outputs), analysed(outputs + offset)
        for index, other in zip(near.indices, far.indices, strict=True):
            assert index.first.value == pytest.approx(other.first.value, abs=1e-6)
            assert index.total.low == pytest.approx(other.total.low, abs=1e-6)


def test_rare_output_keeps_its_indices_and_says_so() -> None:
    """In most replicates the output never varies: a mean of ratios would not exist there."""
    design = unit_design(3, 64, 16, seed=4)
    (found,) = analysed(evaluated(lambda u: (u[..., 0] > 0.998).astype(float), design))
    index = by_name(found)
    assert "differs from its usual value in only" in found.note
    assert found.variance > 0
    assert index["a"].total.value > 0.5 > index["b"].total.value
    assert index["b"].total.value == 0


def test_two_inputs_alike_are_tied_and_a_third_is_not() -> None:
    design = unit_design(3, 256, 8, seed=8)
    (found,) = analysed(
        evaluated(lambda u: np.exp(u[..., 0]) * np.exp(u[..., 1]) + 3 * u[..., 2] ** 2, design)
    )
    index = by_name(found)
    assert index["a"].tied_with == ("b",)
    assert index["b"].tied_with == ("a",)
    assert index["c"].tied_with == ()
    assert index["a"].rank == index["b"].rank == 1 + (index["c"].rank == 1)
    # Shown to be as good as equal: no number of further samples would order them.
    assert found.settled


def test_order_that_noise_could_turn_is_not_settled() -> None:
    design = unit_design(3, 16, 4, seed=3)
    (found,) = analysed(evaluated(lambda u: u[..., 0] * u[..., 1] + 0.4 * u[..., 2] ** 3, design))
    assert not found.settled
    assert "not settled" in found.note


def test_only_what_lies_upstream_is_ranked(swapped: Array) -> None:
    found = sensitivity.sobol_indices(
        np.concatenate([swapped, swapped], axis=-1),
        NAMES,
        ["y", "z"],
        reaching={"y": NAMES, "z": ["c", "a"]},
        members={"a": ("mass", "cg_station")},
        pairs=True,
        cross_check=False,
    )
    assert set(by_name(found[1])) == {"a", "c"}
    assert by_name(found[1])["a"].members == ("mass", "cg_station")
    assert [pair.names for pair in found[1].pairs] == [("a", "c")]
    assert by_name(found[1])["c"].total == by_name(found[0])["c"].total


def test_intervals_cover_as_often_as_they_say() -> None:
    """Repeat 200 times on Ishigami: replicates cover at 95 %, and the bootstrap is wider than it need be."""
    truth = {"a": (0.31391, 0.55759), "b": (0.44241, 0.44241), "c": (0.0, 0.24368)}
    repetitions, covered, wider = 200, np.zeros(2), []
    design = unit_design(3, 256, 8 * repetitions, seed=21)
    outputs = evaluated(ishigami, design).reshape(repetitions, 8, 256, 5, 1)
    for repetition, evaluations in enumerate(outputs):
        (found,) = analysed(evaluations)
        for name, (first, total) in truth.items():
            index = by_name(found)[name]
            covered += [
                index.first.low <= first <= index.first.high,
                index.total.low <= total <= index.total.high,
            ]
        if repetition < 5:
            (boot,) = analysed(evaluations[:1])
            # One replicate of the eight: its own true error is the root of eight times larger.
            wider += [
                (by_name(boot)[n].total.high - by_name(boot)[n].total.low)
                / (by_name(found)[n].total.high - by_name(found)[n].total.low)
                / math.sqrt(8)
                for n in NAMES
            ]
    # Three indices of one repetition are not independent, so the error is that of one.
    for share in covered / (3 * repetitions):
        assert within(share, 0.95, math.sqrt(0.95 * 0.05 / repetitions))
    assert np.median(wider) > 1.5


def test_bootstrap_is_named_where_there_is_one_replicate(plain: Array) -> None:
    (found,) = analysed(plain[:1])
    assert found.interval == sensitivity.BOOTSTRAP
    assert found.replicates == 1


def test_estimator_of_lower_error_has_the_lower_error() -> None:
    """Compare the scatter of the first-order index that is nought, at the same rows."""
    design = evaluated(ishigami, unit_design(3, 256, 40, seed=31, swapped=True))
    spread = {}
    for name in ("saltelli", "azzini"):
        parts = [replicate_parts(block, 3, estimator=name) for block in design]  # type: ignore[arg-type]
        spread[name] = np.std([part.first[0, 2, 0] / part.scale[0, 2, 0] for part in parts])
    assert spread["azzini"] < 0.8 * spread["saltelli"]


def test_wrong_number_of_blocks_or_names_is_an_error(plain: Array) -> None:
    with pytest.raises(SampleError, match="number of blocks"):
        sensitivity.sobol_indices(plain[:, :, :4], NAMES, ["y"])
    with pytest.raises(SampleError, match="need the swapped blocks"):
        analysed(plain, pairs=True)
    with pytest.raises(SampleError, match="do not fit the names"):
        sensitivity.sobol_indices(plain, NAMES, ["y", "z"], cross_check=False)
