"""What measurements are worth: limits open or clear, readings that overlap, plans and their words."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import replace

import numpy as np
import pytest
from scipy.special import ndtr, ndtri

from explorer.analyses.measurements import measurement_from
from explorer.errors import SampleError, StudyError, UnitError
from explorer.estimators import measuring, measuring_plan
from explorer.estimators.measuring import SIGNIFICANT, Accuracy, Measurement, Stake
from explorer.estimators.measuring_outlook import MeasuringPlan
from explorer.graph.arrays import Array
from explorer.graph.written import SPACE
from reports.sections.measuring import headline, outlook_words, what_it_does_beside
from tests.measuring_help import worth_of_measurements
from tests.statistics_help import within

SAMPLES = 20_000


def drawn(names: str, seed: int = 1, count: int = SAMPLES) -> dict[str, Array]:
    generator = np.random.default_rng(seed)
    return {name: generator.normal(size=count) for name in names}


def reading(name: str, hours: float = 1.0, noise: float = 0.3, cost: float = 0.0) -> Measurement:
    return Measurement(name, f"quantity {name}", {name: Accuracy(noise=noise)}, hours, cost)


def worths(
    samples: Mapping[str, Array], margin: Array, measurements: list[Measurement], required: float = 0.95
) -> dict[str, measuring.Worth]:
    found = worth_of_measurements(samples, {"y": margin}, measurements, [Stake("y", required)], seed=3)
    return {worth.measurement: worth for worth in found}


def test_measurement_that_matters_comes_before_one_that_does_not() -> None:
    x = drawn("abc")
    margin = 0.4 + x["a"] + 0.3 * x["b"]
    found = worths(x, margin, [reading(name) for name in "cba"], required=0.65)
    assert list(found) == ["a", "b", "c"]
    assert found["a"].rank == 1
    idle = found["c"].loss_saved
    assert abs(idle.value) <= 4 * idle.error + 1e-3
    assert found["a"].after.loss.value < 0.8 * found["a"].before.loss.value


def test_equal_measurements_are_tied() -> None:
    x = drawn("abc")
    found = worths(x, 0.4 + x["a"] + x["b"] + 0.1 * x["c"], [reading(name) for name in "abc"])
    assert found["a"].tied_with == ("b",)
    assert found["a"].rank == found["b"].rank == 1
    assert found["c"].rank == 3


def test_clear_limit_makes_the_most_telling_measurement_worth_nothing() -> None:
    x = drawn("a")
    found = worths(x, 6.0 + x["a"], [reading("a")])["a"]
    assert found.variance_removed.value > 0.8
    assert found.loss_saved.value == found.turns.value == 0
    assert found.before.passes.value == found.after.passes.value == 1


def test_noisier_and_biased_readings_are_worth_less_and_repeats_mend_only_noise() -> None:
    x = drawn("a")

    def left(**accuracy: float) -> float:
        one = Measurement("m", "m", {"a": Accuracy(**accuracy)}, 1.0)  # type: ignore[arg-type]
        return worths(x, 0.3 + x["a"], [one])["m"].after.variance.value

    fine, rough, repeated = left(noise=0.3), left(noise=1.2), left(noise=1.2, repeats=16)
    biased, still_biased = left(noise=0.3, bias=1.0), left(noise=0.3, bias=1.0, repeats=100)
    assert fine < rough
    assert repeated == pytest.approx(fine, rel=0.1)
    assert fine < still_biased < biased
    assert still_biased == pytest.approx(0.5, rel=0.05)


def test_stated_remainder_is_what_remains() -> None:
    x = drawn("a")
    x["a"] = 5 + 2 * x["a"]
    one = Measurement("m", "m", {"a": Accuracy(leaves=0.5)}, 1.0)
    assert worths(x, x["a"] - 4, [one])["m"].after.variance.value == pytest.approx(0.25, rel=0.05)
    useless = Measurement("m", "m", {"a": Accuracy(leaves=3.0)}, 1.0)
    assert worths(x, x["a"] - 4, [useless])["m"].variance_removed.value == pytest.approx(0, abs=0.02)


def test_correlated_inputs_teach_each_other() -> None:
    """Margin b + c, b correlated with a at 0.8: knowing a removes 0.64 of b's variance."""
    x = drawn("abc")
    x["b"] = 0.8 * x["a"] + 0.6 * x["b"]
    found = worths(x, 0.3 + x["b"] + x["c"], [reading("a", noise=0.0)])["a"]
    assert within(found.variance_removed.value, 0.64, found.variance_removed.error)


@pytest.mark.long
def test_intervals_of_passes_and_turns_hold_the_truth_or_are_wider_than_they_need_be() -> None:
    """Margin 2 + a + b, a read within 0.5: what is expected of a varies by 0.8, what is left by 1.2."""
    required, repeats = 0.95, 300
    threshold = float(ndtri(required)) * math.sqrt(1.2)
    passes = float(ndtr((2 - threshold) / math.sqrt(0.8)))
    held = np.zeros(2)
    for repeat in range(repeats):
        random = np.random.default_rng(repeat)
        x = {name: random.standard_normal(800) for name in "ab"}
        found = worths(x, 2 + x["a"] + x["b"], [reading("a", noise=0.5)], required=required)["a"]
        # As things stand 92 % of cars conform: a failing verdict, which a pass turns.
        for place, one in enumerate((found.after.passes, found.turns)):
            now = passes if place == 0 or float(np.mean(2 + x["a"] + x["b"] >= 0)) < required else 1 - passes
            held[place] += abs(one.value - now) <= 2 * one.error
    assert (held / repeats >= 0.95 - 3 * math.sqrt(0.95 * 0.05 / repeats)).all(), held / repeats


def test_another_measurement_changes_nothing_for_the_first() -> None:
    x = drawn("ab")
    alone = worths(x, 0.4 + x["a"], [reading("a")])["a"]
    together = worths(x, 0.4 + x["a"], [reading("b"), reading("a")])["a"]
    assert alone.after == together.after


def test_samples_without_an_answer_stay_nonconforming_whatever_is_read() -> None:
    x = drawn("ab")
    margin = 0.5 + x["a"]
    margin[x["b"] > 1.0] = np.nan
    found = worths(x, margin, [reading("a", noise=0.0), reading("b", noise=0.0)], required=0.8)
    assert found["a"].before.producer_risk.value == pytest.approx(float(np.mean(margin >= 0)))
    # Perfect knowledge of a still leaves the cars that b denies an answer: passed wrongly at 84 % of 80.
    denied = float(np.mean(np.isnan(margin) & (x["a"] > -0.5)))
    assert found["a"].after.consumer_risk.value == pytest.approx(denied, abs=0.01)


def test_all_samples_failing_is_a_settled_matter() -> None:
    x = drawn("a", count=1000)
    found = worths(x, np.full(1000, np.nan), [reading("a")])["a"]
    assert found.before.passes.value == 0
    assert found.after.wrong == 0
    assert math.isfinite(found.variance_removed.value)


def test_odd_inputs_do_no_harm() -> None:
    """Constant, two-valued, and wildly spread inputs."""
    x = drawn("abc")
    x["a"][:] = 4.0
    x["b"] = np.where(x["b"] > 0, 1.0, 0.0)
    x["c"] = np.exp(4 * x["c"])
    margin = x["b"] - 0.5 + 0.1 * np.log(x["c"])
    found = worths(x, margin, [reading(name, noise=0.0) for name in "abc"])
    assert found["a"].loss_saved.value <= 4 * found["a"].loss_saved.error
    assert found["b"].after.passes.value == 0  # 89 % conform once b is known to be one
    lower = worths(x, margin, [reading("b", noise=0.0)], required=0.8)["b"]
    assert lower.after.passes.value == pytest.approx(float(np.mean(x["b"])))
    assert found["c"].variance_removed.value == pytest.approx(0.16, rel=0.05)


def test_the_weight_scales_the_loss_of_a_limit_and_nothing_else() -> None:
    x = drawn("a")
    stakes = [Stake("y", 0.95), Stake("z", 0.95, weight=3.0)]
    margins = {"y": 1.0 + x["a"], "z": 1.0 + x["a"]}
    one, three = worth_of_measurements(x, margins, [reading("a")], stakes, 1)
    assert three.loss_saved.value == pytest.approx(3 * one.loss_saved.value)
    assert three.turns == one.turns
    # As it stands 84 % conform and the limit fails: what is lost is every good car.
    assert one.before.loss.value == pytest.approx(np.mean(x["a"] >= -1.0))


def test_the_order_follows_the_required_probability() -> None:
    """One reading makes failing cars known, the other tells doubtful cars apart: which helps hangs on p."""
    x = drawn("ab", count=50_000)
    margin = np.minimum(1.3 + x["a"], 4.0 + 2.0 * x["b"])
    readings = [reading("a", noise=0.05), reading("b", noise=0.05)]
    likelier = worths(x, margin, readings, required=0.5)
    strict = worths(x, margin, readings, required=0.97)
    assert likelier["a"].rank == strict["a"].rank == 1
    # At one half b is idle: a car is never so unsafe by b that it would be turned down less often than not.
    assert strict["b"].loss_saved.value < 4 * strict["b"].loss_saved.error + 1e-3
    assert likelier["b"].loss_saved.value > 0.01


def test_too_few_samples_and_unknown_names_are_errors() -> None:
    x = drawn("a", count=100)
    with pytest.raises(SampleError, match="too few samples"):
        worths(x, x["a"], [reading("a")])
    x = drawn("a")
    with pytest.raises(SampleError, match="not an uncertain input"):
        worths(x, x["a"], [reading("b")])
    with pytest.raises(SampleError, match="no such limit"):
        worth_of_measurements(x, {}, [], [Stake("y", 0.9)], 1)


def plain(words: str) -> str:
    return words.replace(SPACE, " ")


def planned(
    margins: dict[str, Array],
    x: dict[str, Array],
    measurements: list[Measurement],
    hours: float,
    **more: float,
) -> MeasuringPlan:
    judged = measuring_plan.Judged(x, margins, tuple(Stake(name, 0.9) for name in margins))
    return measuring_plan.plan_measurements([judged], measurements, budget_hours=hours, seed=2, **more)


@pytest.mark.long
def test_plan_takes_the_most_telling_for_each_hour_first() -> None:
    x = drawn("abc")
    margins = {"front load": 0.5 + x["a"] + 0.6 * x["b"], "clearance": 0.4 + x["c"]}
    plan = planned(margins, x, [reading("a", 0.5), reading("b", 1.0), reading("c", 4.0)], hours=6)
    assert [step.measurement for step in plan.steps] == ["a", "b", "c"]
    assert (plan.hours, plan.complete) == (5.5, True)
    assert plan.steps[-1].hours_so_far == 5.5
    sentence = plain(headline(plan))
    before, after = plan.steps[0].limits["front load"]
    # Closed form of the chance that it conforms, all of it lost while it fails: Phi(0.5 / sqrt(1 + 0.36)).
    assert within(before.loss.value, 0.66595, before.loss.error)
    assert sentence == (
        "measure the quantity a first: it takes half an hour, with a chance of "
        f"{100 * after.passes.value:.0f} % of showing that “front load” passes (90 % required)"
    )


def test_a_first_step_that_helps_only_with_the_next_is_not_said_to_help_by_itself() -> None:
    """Nothing is claimed of a limit that the step tells nothing of."""
    x = drawn("ab")
    plan = planned({"safe": 9 + x["a"], "front load": 0.5 + x["a"] + x["b"]}, x, [reading("a", 0.5)], hours=1)
    (step,) = plan.steps
    before, after = step.limits["front load"]
    idle = {name: (state, state) for name, (state, _) in step.limits.items()}
    both = {**idle, "front load": (before, after)}
    steps = (replace(step, limits=idle), replace(step, label="quantity b", limits=both))
    sentence = plain(headline(replace(plan, steps=steps, hours=1.0)))
    assert sentence.startswith(
        "measure the quantity a and the quantity b: together they take one hour, with a "
    )


def test_each_alone_adds_up_over_all_limits() -> None:
    x = drawn("abc")
    margins = {"front load": 0.5 + x["a"] + 0.6 * x["b"], "clearance": 0.4 + x["c"] + x["a"]}
    plan = planned(margins, x, [reading("a", 0.5), reading("b", 1.0), reading("c", 4.0)], hours=1)
    by_name = {one.measurement: one for one in plan.alone}
    assert [one.gain.value for one in plan.alone] == sorted(
        (one.gain.value for one in plan.alone), reverse=True
    )
    for name, one in by_name.items():
        saved = sum(w.loss_saved.value for w in plan.worths if w.measurement == name)
        assert one.gain.value == pytest.approx(saved, abs=1e-12)
    # The first step of the plan is that measurement alone.
    first = plan.steps[0]
    assert first.gain == by_name[first.measurement].gain
    assert "c" not in by_name["a"].tied_with


@pytest.mark.long
def test_budget_holds_and_what_is_idle_is_left_out() -> None:
    x = drawn("abc")
    margins = {"y": 0.5 + x["a"] + 0.8 * x["b"]}
    everything = [reading(name, 1.0, cost=10.0) for name in "abc"]
    assert [step.measurement for step in planned(margins, x, everything, hours=1.5).steps] == ["a"]
    assert [step.measurement for step in planned(margins, x, everything, hours=9).steps] == ["a", "b"]
    assert len(planned(margins, x, everything, hours=9, budget_cost=10).steps) == 1
    assert planned(margins, x, everything, hours=0.5).steps == ()


@pytest.mark.long
def test_two_readings_of_one_thing_are_not_counted_twice() -> None:
    x = drawn("ab")
    same = Measurement("again", "same quantity", {"a": Accuracy(noise=0.3)}, 1.0)
    plan = planned({"y": 0.2 + x["a"] + 0.7 * x["b"]}, x, [reading("a"), same, reading("b")], hours=2)
    chosen = {step.measurement for step in plan.steps}
    assert "b" in chosen
    assert len(chosen) == 2
    twice = planned({"y": 0.2 + x["a"] + 0.7 * x["b"]}, x, [reading("a"), same], hours=2)
    single = next(worth for worth in plan.worths if worth.measurement == "again").loss_saved.value
    assert twice.gain.value < 1.5 * single


def test_two_measurements_that_help_only_together_are_both_found() -> None:
    x = drawn("ab")
    plan = planned({"y": x["a"] * x["b"]}, x, [reading("a", noise=0.05), reading("b", noise=0.05)], hours=2)
    assert {step.measurement for step in plan.steps} == {"a", "b"}
    assert plan.gain.value > 0.3


@pytest.mark.long
def test_says_when_no_affordable_set_settles_a_limit() -> None:
    x = drawn("abc")
    margins = {"open": 0.2 + x["a"], "hopeless": 0.2 + x["c"], "clear": 9 + x["b"], "lost": x["b"] - 9}
    plan = planned(margins, x, [reading("a", 1.0, 0.05), reading("c", 50.0, 0.05)], hours=2)
    outlook = {one.limit: one for one in plan.outlooks}
    assert not outlook["open"].design_must_change
    # The chance is the one that the first sentence says, whether the run has decided the limit or not.
    turned = f"{100 * outlook['open'].planned.passes.value:.0f} %"
    assert plain(outlook_words(plan, outlook["open"])).endswith(f"that it passes: {turned} by the plan")
    assert f"a chance of {turned} of showing that “open” passes (90 % required)" in plain(headline(plan))
    assert outlook["hopeless"].design_must_change
    assert plain(outlook_words(plan, outlook["hopeless"])) == (
        "fails as known so far; the chance to show that it passes: "
        f"{100 * outlook['hopeless'].everything:.0f} % by all that is listed together"
    )
    assert outlook_words(plan, outlook["clear"]) == "passes, and the plan would hardly ever change that"
    assert outlook["lost"].design_must_change
    assert outlook_words(plan, outlook["lost"]) == "fails clearly; measuring cannot change that"
    plan = planned({"hopeless": 0.2 + x["c"]}, x, [reading("a")], hours=2)
    assert plan.steps == ()
    assert plain(headline(plan)) == ("no measurement within 2 hours is likely to show that “hopeless” passes")


def test_the_best_set_for_a_limit_names_none_that_brings_nothing() -> None:
    """Two readings fit into the time, and the margin knows nothing of the second."""
    x = drawn("abc")
    margins, behind = {"y": 0.2 + x["a"] + 0.3 * x["c"]}, {"y": ("a", "c")}
    judged = measuring_plan.Judged(x, margins, (Stake("y", 0.9),), behind)
    ways = [reading("a"), reading("b")]
    plan = measuring_plan.plan_measurements([judged], ways, budget_hours=9, seed=2)
    assert plan.outlooks[0].best_set == ("a",)


def test_a_pass_that_a_reading_may_turn_says_so() -> None:
    x = drawn("ab")
    plan = planned({"y": 1.6 + x["a"] + 0.2 * x["b"]}, x, [reading("a", noise=0.1)], hours=2)
    assert outlook_words(plan, plan.outlooks[0]).startswith("passes as known so far; the plan has a ")
    said = plain(headline(plan))
    assert said.endswith("% of showing that “y” fails (90 % required)")
    beside = plain(what_it_does_beside(*plan.steps[0].limits["y"]))
    assert beside.removeprefix("has ").replace("the limit", "“y”") in said


def test_a_limit_that_asks_sure_is_told_in_both_words() -> None:
    x = drawn("a")
    stake = Stake("y", 0.9, runs=0.95)
    judged = measuring_plan.Judged(x, {"y": 0.5 + x["a"]}, (stake,))
    plan = measuring_plan.plan_measurements([judged], [reading("a")], budget_hours=2, seed=2)
    assert "that “y” passes (95 % of runs, 90 % sure, required)" in plain(headline(plan))


def test_what_brings_nothing_that_shows_would_not_do_as_well() -> None:
    """Of few failures a quick measurement that hardly tells lies within the error, and is not named."""
    x = {name: np.random.default_rng(7).normal(size=(2, 2000))[place] for place, name in enumerate("ab")}
    stake = Stake("y", 0.9999)
    judged = measuring_plan.Judged(x, {"y": 2.9 + x["a"] + 0.3 * x["b"]}, (stake,))
    ways = [reading("a", 0.5, 0.1), reading("b", 0.1, 0.3)]
    plan = measuring_plan.plan_measurements([judged], ways, budget_hours=2, seed=2)
    shows = {one.measurement for one in plan.alone if one.gain.value > SIGNIFICANT * one.gain.error}
    assert shows == {"a"}
    assert [(step.measurement, step.tied_with) for step in plan.steps] == [("a", ())]
    assert "(99.99 % required)" in plain(headline(plan))


def test_nothing_to_measure_when_all_is_settled() -> None:
    x = drawn("a")
    plan = planned({"y": 9 + x["a"]}, x, [reading("a")], hours=2)
    assert plain(headline(plan)) == (
        "no measurement is needed: none listed would save anything on any verdict"
    )


@pytest.mark.long
def test_many_measurements_are_grown_instead_of_enumerated() -> None:
    names = [f"x{j}" for j in range(16)]
    generator = np.random.default_rng(9)
    x = {name: generator.normal(size=4000) for name in names}
    margin = 0.5 + x["x3"] + x["x7"]
    plan = planned({"y": margin}, x, [reading(name, 1.0) for name in names], hours=3)
    assert not plan.complete
    assert {"x3", "x7"} <= {step.measurement for step in plan.steps}


def test_plan_refuses_what_makes_no_sense() -> None:
    x = drawn("a")
    for measurements, message in (
        ([reading("a"), reading("a")], "one name"),
        ([reading("a", 0.0)], "takes some time"),
    ):
        with pytest.raises(SampleError, match=message):
            planned({"y": x["a"]}, x, measurements, hours=2)
    with pytest.raises(SampleError, match="no limit"):
        planned({}, x, [reading("a")], hours=2)


def units_of(name: str) -> str:
    return {"mass": "kg", "rear_spring_rate": "N/m", "shaft_power": "W"}[name]


def test_study_takes_from_the_catalogue_and_overrides() -> None:
    table = {
        "take": "spring_on_a_scale",
        "label": "rear spring rate",
        "reads": ["rear_spring_rate"],
        "hours": 0.75,
    }
    found = measurement_from("springs", table, units_of)
    assert found == Measurement(
        "springs", "rear spring rate", {"rear_spring_rate": Accuracy(relative=0.02)}, 0.75, 0.0
    )
    rough = {**table, "reads": {"rear_spring_rate": {"noise": "0.1 N/mm", "repeats": 4}}}
    assert measurement_from("s", rough, units_of).reads["rear_spring_rate"] == Accuracy(
        noise=100.0, repeats=4
    )
    own = {"reads": "shaft_power", "accuracy": {"leaves": "80 W"}, "hours": 2, "cost": 15}
    assert measurement_from("dyno", own, units_of).reads == {"shaft_power": Accuracy(leaves=80.0)}
    scales = measurement_from("scales", {"take": "kitchen_scales", "accuracy": {"relative": "1 %"}}, units_of)
    assert scales.reads["mass"] == Accuracy(relative=0.01, bias=0.003, repeats=3)


@pytest.mark.parametrize(
    ("table", "error", "message"),
    [
        ({"take": "kitchen_scale"}, StudyError, "did you mean 'kitchen_scales'"),
        ({"take": "kitchen_scales", "hour": 1}, StudyError, "no key 'hour'"),
        ({"reads": ["mass"], "hours": 1}, StudyError, "how well it reads is missing"),
        ({"reads": ["mass"], "hours": 1, "accuracy": {"noise": "2 mm"}}, UnitError, "mm"),
        ({"reads": ["mass"], "hours": 1, "accuracy": {"noise": "-2 g"}}, StudyError, "not negative"),
        ({"reads": ["mass"], "hours": 0, "accuracy": {"noise": "2 g"}}, StudyError, "takes time"),
        ({"reads": ["mass"], "hours": 1, "accuracy": {"noise": "2 g", "repeats": 0}}, StudyError, "counted"),
        ({"hours": 1, "accuracy": {"noise": "2 g"}}, StudyError, "at least one input"),
        ({"take": "kitchen_scales", "cost": -1}, StudyError, "a cost"),
    ],
)
def test_faults_in_a_measurement_are_said(
    table: dict[str, object], error: type[Exception], message: str
) -> None:
    with pytest.raises(error, match=message):
        measurement_from("m", table, units_of)
