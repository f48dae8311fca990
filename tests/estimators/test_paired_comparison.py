"""Candidates: pairs, ranks and dominance against closed forms, and every way to name a candidate wrongly."""

from __future__ import annotations

import json
import math
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from design_help import write_known
from scipy.special import ndtr
from statistics_help import within
from study_help import DEMO, Answer

from explorer.design.comparison import _notes, compare
from explorer.engine.checkpoint import Checkpoint
from explorer.engine.execution import Execution
from explorer.engine.plan import make_plan
from explorer.errors import SampleError, SquatlineError, StudyError
from explorer.estimators import paired_comparison as estimators
from explorer.study.builds import AS_IT_STANDS, find_build, read_builds, scopes_of
from explorer.study.study import load_study
from reports.sections.candidates import headline

SAMPLES = 20_000
TWO = """
[candidates.plain]
words = "plain"

[candidates.weighted]
words = "weighted"
share = 1.5

[[objectives]]
name = "total"
quantity = "total"
condition = "run"
"""


def normals(shape: tuple[int, ...], key: int) -> np.ndarray:
    return np.random.Generator(np.random.Philox(key)).standard_normal(shape)


def test_difference_of_two_linear_builds_is_the_closed_form(tmp_path: Path) -> None:
    study = load_study(write_known(tmp_path, TWO), allow_code=True)
    found, values = compare(study, samples=SAMPLES)
    subject = next(k for k, one in enumerate(found.subjects) if one.label == "total")
    difference = found.pairs[0].differences[subject].difference
    # plain - weighted = -0.5 second, and second is normal with mean 2.5 and standard deviation 0.3.
    assert within(difference.mean, -1.25, 0.15 / np.sqrt(SAMPLES))
    assert within(difference.sd, 0.15, 0.15 / np.sqrt(2 * SAMPLES))
    assert within(difference.median, -1.25, 1.2533 * 0.15 / np.sqrt(SAMPLES))
    assert within(difference.low, -1.25 - 1.6449 * 0.15, 2.11 * 0.15 / np.sqrt(SAMPLES))
    assert difference.better == 0.0
    assert values.values.shape == (2, 3, SAMPLES)


def test_common_numbers_cut_the_variance_by_the_closed_form_factor() -> None:
    one, two = normals((2, SAMPLES), 1)
    first, second = 3 + one + two, 3 + one + 1.5 * two
    found = estimators.paired_difference(first, second)
    # Independent samples: (1 + 1) + (1 + 1.5^2); pairs: 0.5^2.
    factor = (2 + 3.25) / 0.25
    assert within((np.var(first) + np.var(second)) / found.sd**2, factor, factor * np.sqrt(2 * 2 / SAMPLES))
    assert within(found.better, float(ndtr(0.0)), np.sqrt(0.25 / SAMPLES))
    assert found.better_low < found.better < found.better_high


def test_what_follows_a_stream_cancels_and_what_is_independent_does_not(tmp_path: Path) -> None:
    rest = TWO + (
        "\n[candidates.moved]\nsecond = { mean = 2.6, sd = 0.3 }\n"
        '\n[candidates.apart]\nsecond = { mean = 2.6, sd = 0.3 }\nindependent = ["second"]\n'
    )
    study = load_study(write_known(tmp_path, rest), allow_code=True)
    builds = read_builds(study)
    plan = make_plan(
        study,
        [("total", f"{build.name}/run") for build in builds],
        scopes=scopes_of(study, builds),
    )
    found = plan.evaluate(plan.random_chunk(0, SAMPLES))
    plain, moved, apart = (found["total", f"{name}/run"] for name in ("plain", "moved", "apart"))
    np.testing.assert_allclose(moved - plain, 0.1, atol=1e-12)
    assert within(float(np.var(apart - plain)), 2 * 0.3**2, 2 * 0.3**2 * np.sqrt(2 / SAMPLES))


def test_a_candidate_leaves_the_draws_of_the_study_as_they_are(tmp_path: Path) -> None:
    study = load_study(write_known(tmp_path, TWO), allow_code=True)
    plan = make_plan(study, [("total", "run")])
    builds = read_builds(study)
    both = make_plan(study, [("total", "plain/run")], scopes=scopes_of(study, builds))
    alone, together = plan.random_chunk(3, 500), both.random_chunk(3, 500)
    for key, values in alone.items():
        np.testing.assert_array_equal(together[key], values)


def test_an_override_keeps_the_correlation_of_what_it_replaces(tmp_path: Path) -> None:
    rest = TWO + (
        "\n[candidates.wide]\nsecond = { mean = 2.5, sd = 0.9 }\n"
        '\n[[correlations]]\nbetween = ["first", "second"]\nvalue = 0.8\n'
    )
    study = load_study(write_known(tmp_path, rest), allow_code=True)
    wide = find_build(study, "wide")
    plan = make_plan(study, [("total", "wide/run")], scopes=scopes_of(study, [wide]))
    drawn = plan.random_chunk(0, SAMPLES)
    correlation = float(np.corrcoef(drawn["first"], drawn["second@wide"])[0, 1])
    assert within(correlation, 0.8, (1 - 0.8**2) / np.sqrt(SAMPLES))


def test_equal_builds_rank_evenly() -> None:
    one = normals((1, 5000), 2)
    shares = estimators.rank_shares(np.repeat(one, 4, axis=0))
    np.testing.assert_allclose(shares, 0.25)
    apart = estimators.ranking(normals((4, SAMPLES), 3))
    for row in apart.shares:
        for share in row:
            assert within(share, 0.25, np.sqrt(0.25 * 0.75 / SAMPLES))
    assert all(low < 0.25 < high for low, high in zip(apart.best_low, apart.best_high, strict=True))
    np.testing.assert_allclose(np.sum(apart.shares, axis=0), 1)


def test_ranks_of_three_normal_builds_are_the_closed_form() -> None:
    scores = np.array([[0.0], [1.0], [10.0]]) + normals((3, SAMPLES), 4)
    shares = estimators.ranking(scores).shares
    # The third is always the best; the first beats the second when N(-1, 2) is above zero.
    ahead = float(ndtr(-1 / np.sqrt(2)))
    assert shares[2] == (1.0, 0.0, 0.0)
    assert within(shares[0][1], ahead, np.sqrt(ahead * (1 - ahead) / SAMPLES))
    assert within(shares[1][1], 1 - ahead, np.sqrt(ahead * (1 - ahead) / SAMPLES))


def test_no_answer_ranks_last_and_is_never_better() -> None:
    scores = np.array([[np.nan, 1.0, 2.0], [0.0, np.nan, 1.0]])
    assert estimators.rank_shares(scores).tolist() == [[2 / 3, 1 / 3], [1 / 3, 2 / 3]]
    found = estimators.paired_difference(scores[0], scores[1], "lower")
    assert found.better == 1 / 3
    assert (found.unanswered, found.mean) == (2, 1.0)
    both = estimators.paired_difference(np.full(4, np.nan), np.full(4, np.nan))
    assert both.better == 0.0
    assert np.isnan(both.mean)


def test_a_pick_among_equals_is_seldom_sure() -> None:
    repeats, size = 600, 60
    picks = [estimators.pick_of(normals((3, size), 1000 + r)) for r in range(repeats)]
    sure = np.mean([pick.confidence > 0.95 for pick in picks if pick])
    assert sure <= 0.05 + 4 * np.sqrt(0.05 * 0.95 / repeats)


def test_a_clear_pick_is_sure() -> None:
    pick = estimators.pick_of(np.array([[0.0], [0.3]]) + normals((2, SAMPLES), 5))
    assert pick is not None
    assert pick.chosen == 1
    assert pick.confidence > 0.999
    assert estimators.pick_of(np.array([[1.0, np.nan], [np.nan, 1.0]])) is None


def test_dominance_wants_nothing_worse_and_something_better() -> None:
    base = normals((1, 4000), 6)
    holds = base > -1
    better = estimators.dominance((base + 1, base), (holds, holds))
    assert better.everywhere
    assert better.probability == 1.0
    assert not estimators.dominance((base, base + 1), (holds, holds)).everywhere
    assert not estimators.dominance((base, base), (holds, holds)).everywhere
    # Better in the objective, worse in a limit: a trade, not dominance.
    traded = estimators.dominance((base + 1, base), (base > 0, holds))
    assert not traded.everywhere
    assert within(traded.probability, float(1 - (ndtr(0) - ndtr(-1))), 0.5 / np.sqrt(4000))


def test_verdicts_in_pairs_count_what_differs() -> None:
    first = np.array([True] * 6 + [False] * 4)
    second = np.array([True] * 4 + [False] * 2 + [True] + [False] * 3)
    found = estimators.paired_verdict(first, second)
    assert (found.both, found.only_first, found.only_second, found.neither) == (4, 2, 1, 3)
    assert found.difference == pytest.approx(0.1)
    assert found.low < 0.1 < found.high
    assert found.surer == "neither"
    same = estimators.paired_verdict(first, first)
    assert (same.p_value, same.difference) == (1.0, 0.0)
    assert same.low < 0 < same.high


def test_of_many_equal_pairs_none_is_called_surer_in_nineteen_comparisons_of_twenty() -> None:
    drawn, repeats, wrong, alone = np.random.default_rng(30), 400, 0, 0
    for _ in range(repeats):
        # Six limits, three builds that hold each of them equally often: 18 verdicts in pairs.
        holds = drawn.standard_normal((6, 3, 400)) > -0.5
        pairs = [(one[i], one[j]) for one in holds for i, j in ((0, 1), (0, 2), (1, 2))]
        wrong += any(estimators.paired_verdict(*pair, verdicts=18).surer != "neither" for pair in pairs)
        alone += any(estimators.paired_verdict(*pair).surer != "neither" for pair in pairs)
    assert wrong / repeats <= 0.05 + 3 * np.sqrt(0.05 * 0.95 / repeats)
    assert alone / repeats > 0.3


@pytest.mark.long
def test_intervals_of_1000_comparisons_hold_the_truth_95_times_in_100() -> None:
    """Value from memory: unit normal linear loss of a build half a spread worse; three equal builds."""
    truth = float(math.exp(-1 / 8) / math.sqrt(2 * math.pi) - 0.5 * ndtr(-0.5)), float(ndtr(-0.5))
    repeats, held, best, better = 1000, np.zeros(2), 0, 0
    for seed in range(repeats):
        random = np.random.default_rng(seed)
        benefit = random.standard_normal(2000) - 0.5
        found = estimators.gain_to_decision(np.stack([np.zeros(2000), benefit]))
        for place, one in enumerate((found.gain, found.turns)):
            held[place] += abs(one.value - truth[place]) <= 2 * one.error
        shares = estimators.ranking(random.standard_normal((3, 1000)))
        best += max(shares.best_low) <= 1 / 3 <= min(shares.best_high)
        one = estimators.paired_difference(benefit, np.zeros(2000))
        better += one.better_low <= truth[1] <= one.better_high
    error = 3 * math.sqrt(0.95 * 0.05 / repeats)
    assert np.all(np.abs(held / repeats - 0.9545) <= error), held
    # Conservative: exact intervals of counts, and of all builds at once.
    assert min(best, better) / repeats >= 0.95 - error


def test_information_that_cannot_matter_is_worth_nothing() -> None:
    payoffs = np.stack([np.ones(4000), np.zeros(4000)])
    worth = estimators.gain_to_decision(payoffs, normals((1, 4000), 8))
    assert (worth.gain.value, worth.turns.value) == (0.0, 0.0)


def test_the_comparison_sums_up_and_repeats_to_the_last_bit(tmp_path: Path) -> None:
    rest = TWO + "\n[candidates.shifted]\nacross = 1.0\nidle = 3.0\n"
    study = load_study(write_known(tmp_path, rest), allow_code=True)
    found, values = compare(study, samples=40_000)
    again, more = compare(study, samples=40_000, execution=Execution(workers=3))
    np.testing.assert_array_equal(values.values, more.values)
    assert found == again
    plain, _, shifted = found.candidates
    assert plain.verdict == "pass"
    assert shifted.without_effect == ("idle",)
    assert any("idle" in note for note in found.notes)
    # With across at 1 the second limit is 2.5 - 0.3 + N(0, 0.3) above zero: both still hold.
    assert [one.verdict for one in shifted.limits] == ["pass", "pass"]
    assert found.recommended == "weighted"
    assert "3 of 3 candidates" in headline(found)
    assert plain.dominated_by == ("weighted",)
    joint = float(ndtr(3 / 0.2) * ndtr(2.5 / 0.3))
    assert plain.joint.probability == pytest.approx(joint, abs=1e-6)


def test_a_choice_that_hangs_on_one_input_names_it(tmp_path: Path) -> None:
    # The risky build is the better one exactly when the first input is above its mean.
    rest = """
[candidates.steady]
first = 3.0

[candidates.risky]

[[objectives]]
name = "total"
quantity = "total"
condition = "run"

[decision]
objective = "total"
broken_limit_counts_as = 0

[measurements.scale]
label = "first input"
reads = { first = { noise = 0.05 } }
hours = 1
"""
    study = load_study(write_known(tmp_path, rest, inputs="share = 0"), allow_code=True)
    found, _ = compare(study, samples=20_000)
    decision = found.decision
    assert [one.stream for one in decision.inputs] == ["first"]
    # Gain of knowing: the mean of the positive part of N(0, 0.2), 0.2 / sqrt(2 pi).
    truth = 0.2 / np.sqrt(2 * np.pi)
    error = 0.2 / np.sqrt(20_000)
    assert within(decision.everything.gain.value, truth, error)
    assert within(decision.inputs[0].worth.gain.value, truth, error)
    assert within(decision.inputs[0].worth.turns.value, 0.5, 0.02)
    assert decision.inputs[0].label == "first"
    (measured,) = decision.measurements
    # A reading with noise 0.05 explains 0.2^2 / (0.2^2 + 0.05^2) of the variance.
    known = 0.2 * np.sqrt(0.04 / (0.04 + 0.0025))
    assert within(measured.worth.gain.value, known / np.sqrt(2 * np.pi), error)


def test_no_choice_goes_to_a_build_that_has_not_passed_a_safety_limit(tmp_path: Path) -> None:
    rest = """
[[limits]]
name = "calm"
quantity = "total"
condition = "run"
at_most = 5.5
probability = 0.9
safety = true
why = "test"

[candidates.tame]
words = "tame"

[candidates.hopeful]
words = "hopeful"
first = { mean = 5.0, sd = 1.0 }

[[objectives]]
name = "total"
quantity = "total"
condition = "run"

[decision]
objective = "total"
broken_limit_counts_as = 0
"""
    study = load_study(write_known(tmp_path, rest, inputs="share = 0"), allow_code=True)
    found, _ = compare(study, samples=4000)
    # By its expected payoff alone the second would be chosen.
    assert found.decision.payoffs[1] > found.decision.payoffs[0]
    assert [one.limits[-1].verdict for one in found.candidates] == ["pass", "fail"]
    assert found.decision.best == "tame" == found.recommended
    assert found.decision.everything.gain.value == 0
    assert "hopeful" not in headline(found)


def test_the_car_as_it_stands_is_compared_without_being_asked(tmp_path: Path) -> None:
    rest = "[candidates.far]\nacross = 3.2\n"
    study = load_study(write_known(tmp_path, rest), allow_code=True)
    found, _ = compare(study, samples=4000)
    assert [(one.words, one.overrides == ()) for one in found.candidates] == [
        ("far", False),
        ("as it stands", True),
    ]
    assert [(pair.first, pair.second) for pair in found.pairs] == [("far", "as_it_stands")]
    # It passes, so that nothing has to be built.
    assert [one.verdict for one in found.candidates] == ["fail", "pass"]
    assert found.recommended == "as_it_stands"
    # A candidate that sets nothing is that car already.
    twice, _ = compare(
        load_study(write_known(tmp_path, rest + "[candidates.mine]"), allow_code=True), samples=4000
    )
    assert [one.name for one in twice.candidates] == ["far", "mine"]


def test_a_part_of_its_own_is_measured_on_that_candidate(tmp_path: Path) -> None:
    rest = """
[candidates.steady]
words = "steady"
first = 3.05

[candidates.own]
words = "own part"
independent = ["first"]
first = { mean = 3.0, sd = 0.4 }

[[objectives]]
name = "total"
quantity = "total"
condition = "run"

[[objectives]]
limit = "across"

[decision]
objective = "total"
broken_limit_counts_as = 0

[measurements.scale]
label = "first input"
reads = { first = { noise = 0.01 } }
hours = 1
"""
    study = load_study(write_known(tmp_path, rest, inputs="share = 0"), allow_code=True)
    found, _ = compare(study, samples=20_000)
    known, measured = found.decision.inputs[0], found.decision.measurements[0]
    assert (known.label, known.candidate) == ("first of own part", "own")
    assert (measured.label, measured.candidate) == ("first input of own part", "own")
    assert "Knowing the first of own part first would change the recommendation" in headline(found)
    # Steady brings 3.05 for sure; the gain is that of N(-0.05, 0.4) above zero.
    truth = 0.4 * float(np.exp(-(0.125**2) / 2)) / np.sqrt(2 * np.pi) - 0.05 * float(ndtr(-0.125))
    assert within(known.worth.gain.value, truth, 0.4 / np.sqrt(20_000))
    assert measured.worth.gain.value == pytest.approx(known.worth.gain.value, abs=0.005)
    # The objective to hold a limit carries the interval of its probability.
    surest = found.candidates[1].objectives[1]
    assert surest.low < surest.mean <= surest.high
    assert surest.mean == found.candidates[1].limits[0].probability


def test_parts_are_not_computed_again(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    study = load_study(write_known(tmp_path, TWO), allow_code=True)
    with Checkpoint(tmp_path, "here") as kept:
        first, _ = compare(study, samples=40_000, execution=Execution(checkpoint=kept))
        assert kept.found == 0

    def not_again(*arguments: object) -> None:
        raise AssertionError

    monkeypatch.setattr("explorer.design.comparison._values", not_again)
    with Checkpoint(tmp_path, "here") as kept:
        assert kept.found == 3
        again, _ = compare(study, samples=40_000, execution=Execution(checkpoint=kept))
    assert again == first


WRONG = {
    "unknown input": ("[candidates.odd]\nshaer = 2\n", ["candidates.odd.shaer", "did you mean 'share'?"]),
    "impossible value": ('[candidates.odd]\nmass = "-3 kg"\n', ["candidates.odd.mass", "above 0 kg"]),
    "always overridden": (
        '[candidates.odd]\nspeed = "3 m/s"\n',
        ["candidates.odd.speed", "every condition sets this"],
    ),
    "named as a condition": ("[candidates.run]\nshare = 2\n", ["candidates.run", "rename the candidate"]),
    "independent of nothing": (
        '[candidates.odd]\nindependent = ["first"]\nshare = 2\n',
        ["candidates.odd.independent", "share"],
    ),
    "objective without condition": (
        '[[objectives]]\nquantity = "total"\n',
        ["objectives[1]", "in which condition"],
    ),
    "objective for an unknown limit": (
        '[[objectives]]\nlimit = "acros"\n',
        ["objectives[1].limit", "did you mean 'across'?"],
    ),
    "objective in an unknown condition": (
        '[[objectives]]\nquantity = "total"\ncondition = "walk"\n',
        ["objectives[1].condition", "run"],
    ),
    "objective for what cannot be computed": (
        '[[objectives]]\nquantity = "share_"\ncondition = "run"\n',
        ["objectives[1].quantity"],
    ),
    "two objectives of one name": (
        '[[objectives]]\nname = "a"\nlimit = "up"\n[[objectives]]\nname = "a"\nlimit = "across"\n',
        ["two objectives have the same name"],
    ),
    "choice by an unknown objective": (
        '[decision]\nobjective = "more"\nbroken_limit_counts_as = 0\n',
        ["decision.objective"],
    ),
    "nothing to compare": ("[candidates.alone]\n", ["sets something otherwise", "alone"]),
    "named as the car itself": ("[candidates.as_it_stands]\nshare = 2\n", ["rename the candidate", "share"]),
}


@pytest.mark.parametrize("name", WRONG)
def test_each_wrong_candidate_is_told_with_place_and_remedy(name: str, tmp_path: Path) -> None:
    text, expected = WRONG[name]
    with pytest.raises(SquatlineError) as caught:
        compare(load_study(write_known(tmp_path, text), allow_code=True))
    for words in ("study.toml", *expected):
        assert words in str(caught.value)


def test_more_samples_than_fit_are_refused(tmp_path: Path) -> None:
    study = load_study(write_known(tmp_path, TWO), allow_code=True)
    with pytest.raises(SampleError, match="up to 33 333 333 samples"):
        compare(study, samples=100_000_000)


def test_a_candidate_that_is_not_there_is_told() -> None:
    study = load_study(DEMO)
    assert find_build(study, None) is AS_IT_STANDS
    with pytest.raises(StudyError, match="no candidate is called 'nobody'"):
        find_build(study, "nobody")


def test_the_command_leaves_data_and_says_who_is_recommended(
    tmp_path: Path, squatline: Callable[..., Answer]
) -> None:
    folder = write_known(tmp_path, TWO, samples=2000)
    short = squatline("compare", folder, "--allow-code", "--no-report", "--samples", 4000).out
    assert short.startswith("2 of 2 candidates meet every limit")
    assert "verdict on all limits" not in short
    assert "--details" in short.splitlines()[-1]
    answer = squatline("compare", folder, "--allow-code", "--no-report", "--samples", 4000, "--details")
    assert answer.status == 0, answer.err
    assert "verdict on all limits" in answer.out
    assert "no two candidates differ clearly" in answer.out
    record = json.loads((folder / "results" / "candidates.json").read_text())
    summary = json.loads((folder / "results" / "summary.json").read_text())
    assert {"written_by": "squatline", **summary["candidates"]} == record
    assert record["samples"] == 4000
    again = squatline("compare", folder, "--allow-code", "--no-report", "--samples", 4000, "--json")
    assert json.loads(again.out)["pairs"] == record["pairs"]


def test_the_command_ends_with_one_when_asked_to_and_no_candidate_passes(
    tmp_path: Path, squatline: Callable[..., Answer]
) -> None:
    rest = "[candidates.a]\nacross = 9\n[candidates.b]\nacross = 8\n"
    folder = write_known(tmp_path, rest, inputs="across = 7", samples=500)
    command = ("compare", folder, "--allow-code", "--no-report", "--samples", 1000)
    answer = squatline(*command)
    assert answer.status == 0
    assert "No candidate meets every limit" in answer.out
    assert squatline(*command, "--strict").status == 1


def test_limits_judged_with_cars_and_days_apart_are_listed() -> None:
    for names, said in ((("a",), "“a”"), (("a", "b"), "“a” and “b”"), (("a", "b", "c"), "“a”, “b” and “c”")):
        (note,) = _notes((), names)
        assert f"passes {said} is judged" in note
