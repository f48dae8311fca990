"""Findings beyond the run, made up for the tests of the report: every number here is invented."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

from explorer.estimators.conformance import Verdict
from explorer.estimators.design_space import Edge, Stretch
from explorer.estimators.measuring import Expected, LimitState, Worth
from explorer.estimators.measuring_outlook import Alone, MeasuringPlan, NextMeasurement, Outlook
from explorer.estimators.paired_comparison import (
    DecisionGain,
    Difference,
    Dominance,
    PairedVerdict,
    Pick,
    Ranking,
)
from explorer.files.reading import Source
from explorer.results.comparison import (
    CandidateResult,
    Comparison,
    DecisionResult,
    DifferenceResult,
    InformationResult,
    ObjectiveResult,
    PairResult,
    RankingResult,
    Subject,
)
from explorer.results.exploration import (
    AnswerRecord,
    DesignPoint,
    Expectation,
    Exploration,
    Grid,
    HighestSpeeds,
    MapLimit,
    MapRecord,
    ObjectiveRecord,
    OptimumRecord,
    OtherLimit,
    SearchRecord,
    SpeedLimit,
    SpeedResult,
    SpeedStep,
    StateSpeed,
    VariableRecord,
)
from explorer.results.histogram import Histogram
from explorer.results.logged_runs import LoggedRunRecord
from explorer.results.stored import Results
from explorer.study.builds import Override
from explorer.study.distributions import Normal
from tests.report_fixture import make_results


def with_analyses(results: Results | None = None) -> Results:
    """Return the made-up run with every later analysis in its summary."""
    results = results or make_results()
    summary = replace(
        results.summary,
        measuring=measuring(),
        candidates=candidates(results),
        design=design(results),
        highest_speed=highest_speed(),
        validation=validation(),
    )
    return replace(results, summary=summary)


def with_findings(**findings: Any) -> Results:
    """Return the made-up run with some findings in its summary."""
    results = make_results()
    return replace(results, summary=replace(results.summary, **findings))


def outcome(passes: float) -> LimitState:
    """Return where a limit stands."""
    return LimitState(
        variance=Expected(1.0, 0.001),
        passes=Expected(passes, 0.001),
        consumer_risk=Expected(0.01, 0.001),
        producer_risk=Expected(0.02, 0.001),
        loss=Expected(0.2, 0.001),
    )


LIMIT = "Front wheels carry load"
STIFFER = (Override("rear_wheel_rate", "N/m", "N/mm", Normal(4000.0, 300.0).said, None),)
MEASURED: list[tuple[str, str, float, float, tuple[str, ...]]] = [
    ("splitter_rig", "splitter's downforce", 2.0, 0.08, ("spring_test",)),
    ("spring_test", "rear spring rate", 0.5, 0.078, ("splitter_rig",)),
    ("scales", "mass", 0.5, 0.02, ()),
    ("paint_scale", "weight of the paint", 0.5, 0.0005, ()),
]


def measuring() -> MeasuringPlan:
    """Return a plan of four measurements: two tied, one that brings less, one that tells nothing."""

    def worth(name: str, avoided: float) -> Worth:
        return Worth(
            measurement=name,
            limit=LIMIT,
            hours=2.0,
            before=outcome(0.0),
            after=outcome(0.20 + avoided),
            variance_removed=Expected(0.5, 0.001),
            loss_saved=Expected(avoided, 0.001),
            turns=Expected(0.1, 0.001),
            rank=1,
            tied_with=(),
        )

    first = NextMeasurement(
        measurement="splitter_rig",
        label="splitter's downforce",
        hours=2.0,
        cost=0.0,
        hours_so_far=2.0,
        cost_so_far=0.0,
        limits={LIMIT: (outcome(0.0), outcome(0.28))},
        gain=Expected(0.08, 0.001),
        tied_with=("spring_test",),
    )
    return MeasuringPlan(
        budget_hours=4.0,
        budget_cost=math.inf,
        hours=2.0,
        cost=0.0,
        steps=(first,),
        gain=Expected(0.08, 0.001),
        worths=tuple(worth(name, gain) for name, _, _, gain, _ in MEASURED),
        alone=tuple(
            Alone(name, label, hours, 0.0, Expected(gain, 0.001), tied)
            for name, label, hours, gain, tied in MEASURED
        ),
        outlooks=(
            Outlook(
                limit=LIMIT,
                required=0.9,
                now=outcome(0.0),
                planned=outcome(0.28),
                best=outcome(0.30),
                best_set=("splitter_rig",),
                everything=0.3,
            ),
        ),
        complete=True,
    )


def candidates(results: Results) -> Comparison:
    """Return two builds compared on one subject."""
    judged = tuple(limit.conformance for limit in results.summary.limits)

    def build(name: str, words: str, verdict: Verdict) -> CandidateResult:
        stiff = name == "stiff"
        return CandidateResult(
            name=name,
            words=words,
            overrides=STIFFER if stiff else (),
            without_effect=("paint",) if stiff else (),
            limits=judged,
            joint=judged[0],
            joint_safety=judged[1],
            verdict=verdict,
            objectives=(
                ObjectiveResult("top speed", 56.0, 0.02, 53.0, 59.0, 0),
                ObjectiveResult("speed", 12.0, 0.02, 11.0, 13.0, 0),
            ),
            dominated_by=() if stiff else ("stiff",),
            speeds=(SpeedResult("flap closed", 45.0, 44.6 if stiff else None, 45.4, None),),
        )

    difference = Difference(
        mean=4.2,
        error=0.05,
        sd=1.5,
        low=1.8,
        median=4.1,
        high=6.9,
        better=0.992,
        better_low=0.990,
        better_high=0.994,
        unanswered=0,
        samples=8192,
    )
    paired = PairedVerdict(8000, 100, 50, 42, 0.006, 0.003, 0.009, 1e-4, "first")
    pick = Pick(0, 0.999)
    ranking = Ranking(((0.9, 0.1), (0.1, 0.9)), (0.89, 0.09), (0.91, 0.11), pick)
    shaft = DecisionGain(Expected(0.1, 0.01), Expected(0.1, 0.001))
    return Comparison(
        samples=8192,
        seed=7,
        limits=tuple(limit.name for limit in results.summary.limits),
        required=tuple(limit.probability for limit in results.summary.limits),
        safety=tuple(limit.safety for limit in results.summary.limits),
        subjects=(
            Subject(
                "front_axle_load",
                "closed_45",
                label="front axle load",
                unit="N",
                display_unit="N",
                better="higher",
                by_margin=False,
            ),
        ),
        objectives=(
            ObjectiveRecord("top speed", "highest top speed", "highest", "m/s", "km/h"),
            ObjectiveRecord("speed", "lowest speed", "lowest", "N", "N"),
        ),
        candidates=(build("stiff", "stiffer springs", "pass"), build("soft", "springs as built", "fail")),
        pairs=(
            PairResult(
                first="stiff",
                second="soft",
                differences=(DifferenceResult(0, difference, Histogram((0.0, 4.0, 8.0), (4000, 4192))),),
                verdicts=(paired,) * len(results.summary.limits),
                all_limits=paired,
                first_as_good=Dominance(0.99, 0.985, 0.995, True),
                second_as_good=Dominance(0.01, 0.005, 0.015, False),
            ),
        ),
        rankings=(RankingResult("highest top speed", "m/s", "km/h", 1.0, ranking),),
        decision=DecisionResult(
            by="highest top speed",
            unit="m/s",
            display_unit="km/h",
            payoffs=(56.0, 55.0),
            best="stiff",
            everything=DecisionGain(Expected(0.3, 0.01), Expected(0.2, 0.001)),
            inputs=(InformationResult("shaft_power", "shaft power", None, shaft),),
            measurements=(),
        ),
        recommended="stiff",
        notes=("both share the wing",),
    )


def variable(name: str, words: str, low: float, high: float, unit: str, shown: str) -> VariableRecord:
    """Return a design variable that the build has in the middle of its range."""
    return VariableRecord(name, words, low, high, None, (low + high) / 2, unit, shown, "kept")


STRETCH = Stretch(Edge(5000.0, 5100.0, 4900.0, False), Edge(6000.0, 6000.0, 6000.0, True))


def design_map(
    results: Results,
    name: str,
    variables: tuple[VariableRecord, ...],
    grid: Grid,
    verdict: tuple[tuple[Verdict, ...], ...],
) -> MapRecord:
    """Return a map over one variable or two."""
    two = len(variables) == 2
    return MapRecord(
        name=name,
        around="as it stands",
        variables=variables,
        values=((2000.0, 4000.0, 6000.0), (0.02, 0.04))[: len(variables)],
        limits=tuple(MapLimit(limit.name, 0.95, True, grid, ()) for limit in results.summary.limits),
        all_limits=grid,
        verdict=verdict,
        boundary=((5000.0, 0.02, 5200.0, 0.04),) if two else (),
        stretches=() if two else (STRETCH,),
        met=0.33,
        samples=2000,
    )


def design_point(*values: float) -> DesignPoint:
    """Return a build that meets no limit."""
    return DesignPoint(values, (50.0,), (0.1,), (0.5,), 0.5, False, "fail", False)


def design(results: Results) -> Exploration:
    """Return a map over two variables, one over one, a search and an answer."""
    rate = variable("rear_wheel_rate", "rear wheel rate", 2000.0, 6000.0, "N/m", "N/mm")
    area = variable("wing_area", "wing area", 0.02, 0.04, "m**2", "m**2")
    names = tuple(limit.name for limit in results.summary.limits)
    judged = tuple(limit.conformance for limit in results.summary.limits)
    plane = ((0.10, 0.60, 0.99), (0.05, 0.40, 0.96))
    return Exploration(
        build="as it stands",
        maps=(
            design_map(
                results,
                "spring and wing",
                (rate, area),
                plane,
                (("fail", "fail", "pass"), ("fail", "fail", "undecided")),
            ),
            design_map(results, "spring alone", (rate,), plane[:1], (("fail", "fail", "pass"),)),
        ),
        search=SearchRecord(
            variables=(rate, area),
            objectives=(ObjectiveRecord("top speed", "highest top speed", "highest", "m/s", "km/h"),),
            limits=names,
            required=(0.95,) * len(names),
            points=(),
            optimum=OptimumRecord(
                values=(5400.0, 0.031),
                found=57.0,
                objectives=(57.0,),
                objective_errors=(0.02,),
                limits=judged,
                all_limits=judged[0],
                verdict="pass",
                held_back_by=(names[0],),
                at_end=(),
                reserve=2.0,
                tried=120,
                samples=2000,
            ),
            nearest=None,
            nearest_fails=(),
            samples=1000,
            notes=(),
        ),
        answers=(
            AnswerRecord(
                ask="how stiff must the rear spring be",
                around="as it stands",
                variable=rate,
                limit=names[0],
                required=0.95,
                stretches=(STRETCH,),
                choose=5100.0,
                best=6000.0,
                best_probability=0.99,
                others=(OtherLimit(names[1], 0.99, 0.999, "pass"),),
                values=(2000.0, 4000.0, 6000.0),
                probabilities=(0.10, math.nan, 0.99),
                samples=2000,
            ),
        ),
        notes=("springs come in steps of 0.1 N/mm",),
    )


def highest_speed() -> HighestSpeeds:
    """Return the steps of one state."""
    state = StateSpeed(
        words="flap closed",
        flap_opening=0.0,
        conditions=("closed_45",),
        limits=(SpeedLimit(LIMIT, "at each speed", 0.95, 44.0, (1.0, 0.97, 0.5)),),
        speed=44.0,
        sure=None,
        possible=45.0,
        to_the_end=False,
        held_back_by=LIMIT,
        reachable=(48.0, 51.0, 55.0),
        speeds=(20.0, 44.0, 60.0),
        together=(1.0, 0.97, 0.5),
        steps=(
            SpeedStep(30.0, 0.46, 1.0, (Expectation("pitch", "closed_45", "rad", "deg", 0.01, 0.015, 0.02),)),
        ),
    )
    return HighestSpeeds(
        build="as it stands",
        states=(state,),
        look_after_each=("look for fresh marks under the splitter",),
        samples=2000,
        notes=(),
    )


def validation() -> tuple[LoggedRunRecord, ...]:
    """Return one log held against its prediction."""
    record = LoggedRunRecord(
        name="morning",
        title="morning run",
        quantity="pitch",
        summary="Pitch of the body.",
        unit="rad",
        display_unit="deg",
        along="speed",
        along_unit="m/s",
        along_display_unit="km/h",
        condition="closed",
        condition_words="flap closed",
        log=Source("logs/morning.csv", "2026-03-14", "0" * 64, True),
        explains=True,
        notes=("one row was an outlier",),
        explained_by=(),
        coverage=0.667,
        share=0.9,
        expected_low=0.55,
        expected_high=1.0,
        bias=0.001,
        bias_in_spreads=0.3,
        noise=0.0005,
        chance=0.31,
        rows=3,
        outside_range=0,
        effective_rows=2.4,
        stretches=(),
        samples=2000,
        unanswered=0,
        at=(20.0, 30.0, 40.0),
        logged=(0.005, 0.012, 0.028),
        lower=(0.002, 0.008, 0.018),
        median=(0.004, 0.011, 0.022),
        upper=(0.006, 0.014, 0.026),
    )
    return (record,)
