"""Sobol indices: odd outputs, ties, intervals that mean what they say."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.special import ndtri, stdtrit

from explorer.errors import SampleError
from explorer.estimators import sensitivity
from explorer.estimators.sobol_parts import answers, joined, ranks, replicate_parts
from explorer.graph.arrays import Array
from tests.saltelli import evaluated, indices, ishigami, unit_design
from tests.statistics_help import within

NAMES = ["a", "b", "c"]


def by_name(found: sensitivity.Sensitivity) -> dict[str, sensitivity.Index]:
    return {index.name: index for index in found.indices}


def analysed(outputs: Array, *, pairs: bool = False) -> tuple[sensitivity.Sensitivity, ...]:
    return indices(outputs, NAMES, pairs=pairs)


@pytest.fixture(scope="module")
def drawn() -> Array:
    return evaluated(ishigami, unit_design(3, 256, 8, seed=12))


def test_leading_input_first_and_order_settled(drawn: Array) -> None:
    (found,) = analysed(drawn)
    assert [index.name for index in found.indices] == NAMES
    assert [index.rank for index in found.indices] == [1, 2, 3]
    assert found.settled
    assert (found.samples, found.replicates, found.left_out, found.note) == (2048, 8, 0, "")


def test_many_outputs_in_one_pass_equal_each_alone(drawn: Array) -> None:
    outputs = np.concatenate([drawn, np.exp(drawn / 5), drawn > 9], axis=-1)
    together = analysed(outputs, pairs=True)
    for k, found in enumerate(together):
        (alone,) = analysed(outputs[..., [k]], pairs=True)
        for one, other in zip(found.indices, alone.indices, strict=True):
            assert one.total == other.total or one.total.value == pytest.approx(other.total.value, abs=1e-13)
        assert [pair.names for pair in found.pairs] == [pair.names for pair in alone.pairs]


def test_constant_output_says_that_it_does_not_vary(drawn: Array) -> None:
    for constant in (0.0, 3.7, -1e6):
        (found,) = analysed(np.full_like(drawn, constant))
        assert all(index.total.value == 0 and index.first.value == 0 for index in found.indices)
        assert all(index.rank == 1 for index in found.indices)
        assert found.note.startswith("does not vary")


def test_wobble_from_rounding_counts_as_constant(drawn: Array) -> None:
    wobble = np.random.default_rng(1).integers(-2, 3, drawn.shape) * np.spacing(1e5)
    (found,) = analysed(1e5 + wobble)
    assert found.note.startswith("does not vary")


def test_rows_that_are_not_finite_are_removed_whole_and_counted(drawn: Array) -> None:
    outputs = np.concatenate([drawn, drawn], axis=-1)
    outputs[2, 10, 1, 0], outputs[2, 11, 4, 0], outputs[5, 10, 0, 0] = np.nan, np.inf, -np.inf
    damaged, whole = analysed(outputs)
    assert (damaged.left_out, whole.left_out) == (3, 0)
    assert damaged.samples == whole.samples - 3
    assert "3 rows without an answer" in damaged.note
    for index, other in zip(damaged.indices, whole.indices, strict=True):
        assert index.total.value == pytest.approx(other.total.value, abs=0.02)


def test_removed_rows_do_not_enter_the_estimate(drawn: Array) -> None:
    damaged = drawn.copy()
    damaged[:, 200:, 2] = np.nan
    (found,) = analysed(damaged)
    (cut,) = analysed(drawn[:, :200])
    for index, other in zip(found.indices, cut.indices, strict=True):
        assert index.first.value == pytest.approx(other.first.value, abs=1e-12)
        assert index.total.high == pytest.approx(other.total.high, abs=1e-12)
    note = found.note.replace("\N{NO-BREAK SPACE}", " ")
    assert "0 % of the cars have no answer, which takes 22 % of the rows" in note


def test_cars_without_an_answer_are_counted_as_cars_and_what_drives_them_is_ranked() -> None:
    def gives_up(u: Array) -> Array:
        return np.where(u[..., 1] > 0.9625, np.nan, u[..., 0] + u[..., 2])

    design = unit_design(3, 256, 8, seed=14)
    evaluations = evaluated(gives_up, design)
    parts = joined([replicate_parts(block, 3) for block in evaluations])
    answered = joined([answers(block, 3) for block in evaluations])
    every = range(3)
    found = sensitivity.indices_of_output(
        parts.of(0, every), "margin", {name: (name,) for name in NAMES}, answered=answered.of(0, every)
    )
    # Nets place the share exactly, but for one car a scramble and side.
    assert found.unanswered == pytest.approx(0.0375, abs=1 / 256)
    assert "4 % of the cars have no answer" in found.note.replace("\N{NO-BREAK SPACE}", " ")
    assert [index.name for index in found.behind_no_answer] == ["b"]
    assert found.behind_no_answer[0].total.value == pytest.approx(1.0, abs=0.01)


@pytest.mark.long
@pytest.mark.parametrize("readings", [3, 4, 6])
def test_intervals_hold_the_truth_where_an_input_has_few_readings(readings: int) -> None:
    """Shares of the margin's place: a variance does not exist with three readings, its error with five."""

    def margin(u: Array) -> Array:
        return stdtrit(readings - 1, u[..., 0]) + 1.5 * ndtri(u[..., 1]) + 0.2 * u[..., 2]

    def shares(rows: int, replicates: int, seed: int) -> sensitivity.Estimate:
        design = unit_design(3, rows, replicates, seed=seed)
        (found,) = analysed(np.stack([ranks(block) for block in evaluated(margin, design)]))
        return by_name(found)["a"].first

    truth, repeats = shares(8192, 16, 999).value, 400
    held = [one.low <= truth <= one.high for one in (shares(128, 8, seed) for seed in range(repeats))]
    assert np.mean(held) >= 0.95 - 3 * math.sqrt(0.95 * 0.05 / repeats)


def test_nothing_finite_is_said_and_not_ranked_in_silence(drawn: Array) -> None:
    (found,) = analysed(np.full_like(drawn, np.nan))
    assert found.samples == 0
    assert found.note.startswith("no evaluation is a finite number")


def test_wobbling_is_not_varying_but_one_evaluation_of_many_is(drawn: Array) -> None:
    """What differs in the last digits only is rounding; what differs once, in one block, is not."""
    wobbles, once = np.full((2, *drawn.shape), 0.3)
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
def test_a_huge_offset_changes_nothing(drawn: Array, offset: float) -> None:
    (near,), (far,) = analysed(drawn), analysed(drawn + offset)
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
    assert "not certain" in found.note


def test_only_what_lies_upstream_is_ranked(drawn: Array) -> None:
    parts = joined([replicate_parts(block, 3, pairs=True) for block in drawn])
    groups = {"a": ("mass", "cg_station"), "c": ("c",)}
    found = sensitivity.indices_of_output(parts.of(0, [0, 2]), "z", groups)
    assert set(by_name(found)) == {"a", "c"}
    assert by_name(found)["a"].members == ("mass", "cg_station")
    assert [pair.names for pair in found.pairs] == [("a", "c")]
    (whole,) = analysed(drawn)
    assert by_name(found)["c"].total == by_name(whole)["c"].total


def test_further_replicates_of_what_leads_sharpen_it_and_leave_the_rest() -> None:
    blocks = evaluated(ishigami, unit_design(3, 128, 24, seed=5))
    parts, groups = [replicate_parts(block, 3).of(0, range(3)) for block in blocks], {n: (n,) for n in NAMES}
    few, whole = (sensitivity.indices_of_output(joined(some), "y", groups) for some in (parts[:8], parts))
    # A, AB, BA and B of the first two inputs alone.
    leading = [replicate_parts(block[:, [0, 1, 2, 4, 5, 7]], 2).of(0, range(2)) for block in blocks[8:]]
    found = sensitivity.indices_of_output(
        joined(parts[:8]), "y", groups, further=joined(leading), leading=("a", "b")
    )
    assert (found.replicates, found.samples) == (24, 24 * 128)
    for name, like in (("a", whole), ("b", whole), ("c", few)):
        assert by_name(found)[name].total.value == pytest.approx(by_name(like)[name].total.value, abs=1e-12)
        assert by_name(found)[name].first.high == pytest.approx(by_name(like)[name].first.high, abs=1e-12)


@pytest.mark.long
def test_intervals_cover_as_often_as_they_say() -> None:
    """Repeat 300 times on Ishigami; the first and the third matter together, in closed form."""
    truth = {"a": (0.31391, 0.55759), "b": (0.44241, 0.44241), "c": (0.0, 0.24368)}
    repetitions, covered, together = 300, np.zeros(2), 0
    design = unit_design(3, 256, 8 * repetitions, seed=21)
    outputs = evaluated(ishigami, design).reshape(repetitions, 8, 256, 8, 1)
    for evaluations in outputs:
        (found,) = analysed(evaluations, pairs=True)
        (pair,) = [one for one in found.pairs if set(one.names) == {"a", "c"}]
        together += pair.value.low <= 0.24368 <= pair.value.high
        for name, (first, total) in truth.items():
            index = by_name(found)[name]
            covered += [
                index.first.low <= first <= index.first.high,
                index.total.low <= total <= index.total.high,
            ]
    # Three indices of one repetition are not independent, so the error is that of one.
    for share in (together / repetitions, *covered / (3 * repetitions)):
        assert within(share, 0.95, math.sqrt(0.95 * 0.05 / repetitions), z=3)


def test_estimator_of_lower_error_has_the_lower_error() -> None:
    """Compare the scatter of the first-order index that is zero, at the same rows."""
    design = evaluated(ishigami, unit_design(3, 256, 40, seed=31))
    parts = [replicate_parts(block, 3) for block in design]
    ours = np.std([part.first[0, 2, 0] / part.scale[0, 2, 0] for part in parts])
    # The usual one, Saltelli et al. 2010: B (AB - A) over the variance.
    a, changed, b = (design[:, :, block, 0] for block in (0, 3, -1))
    usual = np.std(np.mean(b * (changed - a), axis=1) / np.var(np.stack([a, b]), axis=(0, 2)))
    assert ours < 0.8 * usual


def test_wrong_number_of_blocks_or_one_replicate_is_an_error(drawn: Array) -> None:
    with pytest.raises(SampleError, match="number of blocks"):
        analysed(drawn[:, :, :5])
    with pytest.raises(SampleError, match="one replicate"):
        analysed(drawn[:1])
