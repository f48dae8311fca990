"""The candidates of a study on common random numbers: verdicts side by side, differences, ranking, decision.

All candidates are one program: what they share is computed once, and every sample tries each of them in the
same state of the world.  Values are kept for all samples, because pairs, ranks and the value of information
need them side by side; more samples than fit are refused.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import fields, replace
from functools import partial

import numpy as np

from explorer.analyses.standing import standing_cars
from explorer.analyses.two_levels import all_cars, cars_and_days, check_kinds_apart, sure_limits
from explorer.analyses.verdicts import decided
from explorer.analyses.ways_to_measure import ways_to_measure
from explorer.design.highest_speed import run_highest_speed
from explorer.design.objectives import Objective, Payoff, read_objectives, read_payoff, record_of_objective
from explorer.design.side_by_side import SideBySide, of_build, outputs_of, wanted_of
from explorer.engine.execution import Execution
from explorer.engine.fingerprint import inputs_digest
from explorer.engine.plan import Plan, chunk_sizes, make_plan
from explorer.engine.stages import Stages
from explorer.errors import SampleError, StudyError
from explorer.estimators.conformance import binomial_interval, judge_joint, judge_margins, worst_verdict
from explorer.estimators.measuring import SIGNIFICANT, Accuracy, take_readings
from explorer.estimators.paired_comparison import (
    dominance,
    gain_to_decision,
    paired_difference,
    paired_verdict,
    ranking,
)
from explorer.estimators.regression import normal_scores
from explorer.estimators.two_levels import Sureness
from explorer.graph.arrays import Array
from explorer.graph.labels import label
from explorer.graph.written import listed
from explorer.results.comparison import (
    CandidateResult,
    Comparison,
    DecisionResult,
    DifferenceResult,
    InformationResult,
    MeasurementResult,
    ObjectiveResult,
    PairResult,
    RankingResult,
)
from explorer.results.exploration import HighestSpeeds, SpeedResult
from explorer.results.histogram import BARS, Histogram
from explorer.study.builds import AS_IT_STANDS, Build, overrides_in, read_builds, scopes_of
from explorer.study.limits import Output
from explorer.study.study import Study

# More samples than this tell no more about a choice; fewer when the study asks for fewer.
USUAL_SAMPLES = 100_000
# Numbers kept side by side: a gigabyte and a half.
MOST_KEPT = 200_000_000
# The regression behind the value of information needs no more.
INFORMATION_SAMPLES = 32_768
# Differences that vary by less than this share of their size vary by rounding only.
ROUNDING = 1e-9


def compare(
    study: Study,
    *,
    samples: int | None = None,
    execution: Execution | None = None,
) -> tuple[Comparison, SideBySide]:
    """Compare the candidates of a study, and the car as it stands where none of them is that.

    Samples are plain random ones whatever the design of the main run, so that every interval is exact.

    Parameters
    ----------
    samples:
        Number of samples instead of the study's own (at most 100 000 of those).
    execution:
        On which workers, told to whom, and where finished parts are kept; by default here and nowhere.

    Returns
    -------
    Comparison, SideBySide
        What was found, and the values it was found from.

    Raises
    ------
    StudyError
        Without a candidate that sets anything, or with one that overrides what it cannot.
    SampleError
        When more samples are asked for than can be kept side by side.
    """
    builds, objectives = read_builds(study), read_objectives(study)
    payoff = read_payoff(study, objectives)
    builds = _with_the_car_itself(study, builds)
    check_kinds_apart(study)
    outputs = outputs_of(study, objectives)
    wanted = min(study.samples, USUAL_SAMPLES) if samples is None else samples
    execution = execution or Execution()
    _check_fits(len(builds) * len(outputs), wanted)
    plan = make_plan(study, wanted_of(builds, outputs), scopes=scopes_of(study, builds))
    sizes = chunk_sizes(wanted)
    overrides = inputs_digest(given for build in builds for given in build.overrides.values())
    names = [
        f"comparison {[build.name for build in builds]} {overrides} {outputs} {index} {size}"
        for index, size in enumerate(sizes)
    ]
    parts = list(execution.parts(names, partial(_values, plan, builds, outputs, sizes), "candidates"))
    found = SideBySide(study, builds, objectives, outputs, np.concatenate(parts, axis=2))
    sureness = _sureness(study, builds, execution)
    speeds: list[HighestSpeeds | None] = []
    for build in builds:
        speeds.append(None)
        with execution.stages.analysis(f"highest speed: {build.words}"):
            speeds[-1] = run_highest_speed(study, build, execution)
    return _summed_up(found, plan, payoff, speeds, sureness, execution), found


def _sureness(study: Study, builds: Sequence[Build], execution: Execution) -> tuple[dict[str, Sureness], ...]:
    """Tell cars and days apart for the limits that ask it, on the same cars and days for every build."""
    limits = sure_limits(study)
    if not limits:
        return tuple({} for _ in builds)
    asked = [(of_build(limit.output, build), limit) for build in builds for limit in limits]
    plan = make_plan(study, [pair for one, _ in asked for pair in one.pairs], scopes=scopes_of(study, builds))
    cars = cars_and_days(plan, asked, *all_cars(study), execution=execution)
    return tuple(
        {limit.name: cars.sureness(k * len(limits) + place, limit) for place, limit in enumerate(limits)}
        for k in range(len(builds))
    )


def _values(
    plan: Plan, builds: Sequence[Build], outputs: Sequence[Output], sizes: Sequence[int], index: int
) -> Array:
    """Values of one chunk of samples: shape (builds, outputs, samples)."""
    found = plan.evaluate(plan.random_chunk(index, sizes[index]))
    return np.array([[of_build(output, build).value(found) for output in outputs] for build in builds])


def _with_the_car_itself(study: Study, builds: tuple[Build, ...]) -> tuple[Build, ...]:
    """Return what is compared: every candidate, and last the study as it stands if none is that."""
    if not any(build.overrides for build in builds):
        raise StudyError(
            "a comparison takes a candidate that sets something otherwise than the study",
            file=str(study.path),
            key="candidates",
            found=", ".join(build.name for build in builds) or "none",
            remedy="write [candidates.NAME] for each build; the car as it stands is compared by itself",
        )
    return builds if any(not build.overrides for build in builds) else (*builds, AS_IT_STANDS)


def _check_fits(columns: int, samples: int) -> None:
    if columns * samples > MOST_KEPT:
        raise SampleError(
            "a comparison keeps all its samples side by side, and so many do not fit",
            key="samples",
            found=f"{samples:,} samples of {columns} values".replace(",", " "),
            allowed=f"up to {MOST_KEPT // columns:,} samples".replace(",", " "),
            remedy="ask for fewer with --samples: differences on common random numbers need few",
        )


def _summed_up(
    found: SideBySide,
    plan: Plan,
    payoff: Payoff,
    speeds: Sequence[HighestSpeeds | None],
    sureness: Sequence[dict[str, Sureness]],
    execution: Execution,
) -> Comparison:
    """Sum up what the samples say."""
    progress = execution.progress
    study, builds, objectives = found.study, found.builds, found.objectives
    pairs = tuple(_pair(found, i, j) for i in range(len(builds)) for j in range(i + 1, len(builds)))
    progress("comparing", 1, 3)
    candidates = tuple(_candidate(found, plan, pairs, speeds[k], sureness[k], k) for k in range(len(builds)))
    progress("comparing", 2, 3)
    decision = _decision(found, plan, payoff, safe_builds(candidates, study), execution.stages)
    progress("comparing", 3, 3)
    return Comparison(
        samples=found.values.shape[2],
        seed=study.seed,
        limits=tuple(limit.name for limit in study.limits),
        required=tuple(limit.probability for limit in study.limits),
        safety=tuple(limit.safety for limit in study.limits),
        subjects=tuple(found.subjects.values()),
        objectives=tuple(map(record_of_objective, objectives)),
        candidates=candidates,
        pairs=pairs,
        rankings=_rankings(found),
        decision=decision,
        recommended=_recommended(candidates, objectives),
        notes=(
            *_notes(candidates, [limit.name for limit in sure_limits(study)]),
            *standing_cars(study, builds),
            *(failure.words for failure in execution.stages.failures),
        ),
    )


def _pair(found: SideBySide, i: int, j: int) -> PairResult:
    differences = []
    for position, (output, subject) in enumerate(found.subjects.items()):
        first, second = found.compared(output)[[i, j]]
        differences.append(
            DifferenceResult(
                position, paired_difference(first, second, subject.better), _bars(first - second)
            )
        )
    scores, holds = found.scores, found.holds
    pairs = len(found.builds) * (len(found.builds) - 1) // 2
    # Every limit and all at once, for every pair: one error for all of them together.
    judge = partial(paired_verdict, verdicts=pairs * (len(found.study.limits) + 1))
    as_good = partial(dominance, verdicts=2 * pairs)
    return PairResult(
        first=found.builds[i].name,
        second=found.builds[j].name,
        differences=tuple(differences),
        verdicts=tuple(judge(one, other) for one, other in zip(holds[i], holds[j], strict=True)),
        all_limits=judge(found.all_hold[i], found.all_hold[j]),
        first_as_good=as_good((scores[i], scores[j]), (holds[i], holds[j])),
        second_as_good=as_good((scores[j], scores[i]), (holds[j], holds[i])),
    )


def _bars(values: Array) -> Histogram:
    """Count between the 0.1 % and the 99.9 % quantile."""
    finite = values[np.isfinite(values)]
    if finite.size == 0:
        return Histogram((0.0, 1.0), (0,))
    low, high = (float(end) for end in np.quantile(finite, [0.001, 0.999]))
    if high - low <= ROUNDING * max(abs(low), abs(high)):
        return Histogram((low, high), (finite.size,))
    counts, edges = np.histogram(finite, BARS, (low, high))
    below, above = int(np.count_nonzero(finite < low)), int(np.count_nonzero(finite > high))
    return Histogram(tuple(edges.tolist()), tuple(counts.tolist()), below, above)


def _candidate(
    found: SideBySide,
    plan: Plan,
    pairs: Sequence[PairResult],
    speeds: HighestSpeeds | None,
    sureness: dict[str, Sureness],
    k: int,
) -> CandidateResult:
    build, limits, margins = found.builds[k], found.study.limits, found.margins[k]
    judged = tuple(
        decided(judge_margins(own, limit.probability), sureness.get(limit.name))
        for own, limit in zip(margins, limits, strict=True)
    )
    safe = [position for position, limit in enumerate(limits) if limit.safety]
    used = {one.token for one in plan.inputs}
    return CandidateResult(
        name=build.name,
        words=build.words,
        overrides=overrides_in(build.overrides, found.study.graph),
        without_effect=tuple(q for q, given in build.overrides.items() if given.token not in used),
        limits=judged,
        joint=judge_joint(margins, max(limit.probability for limit in limits)),
        joint_safety=judge_joint(margins[safe], max(limits[s].probability for s in safe)) if safe else None,
        verdict=worst_verdict([one.verdict for one in judged]),
        objectives=tuple(
            _objective_result(objective, found.scores[k, a]) for a, objective in enumerate(found.objectives)
        ),
        dominated_by=tuple(_dominating(build.name, pairs)),
        speeds=tuple(
            SpeedResult(**{one.name: getattr(state, one.name) for one in fields(SpeedResult)})
            for state in (speeds.states if speeds else ())
        ),
        sureness=sureness,
    )


def _dominating(name: str, pairs: Sequence[PairResult]) -> list[str]:
    by_second = [pair.second for pair in pairs if pair.first == name and pair.second_as_good.everywhere]
    by_first = [pair.first for pair in pairs if pair.second == name and pair.first_as_good.everywhere]
    return by_first + by_second


def _objective_result(objective: Objective, scores: Array) -> ObjectiveResult:
    answered = objective.sign * scores[np.isfinite(scores)]
    unanswered = scores.size - answered.size
    if answered.size < 2:
        return ObjectiveResult(objective.name, math.nan, math.nan, math.nan, math.nan, unanswered)
    if objective.limit is None:
        low, high = np.quantile(answered, [0.05, 0.95])
    else:
        # A limit holds or not in each car: no band of cars, but an interval of the share.
        low, high = binomial_interval(float(answered.sum()), answered.size)
    error = float(np.std(answered, ddof=1)) / math.sqrt(answered.size)
    return ObjectiveResult(objective.name, float(answered.mean()), error, float(low), float(high), unanswered)


def _rankings(found: SideBySide) -> tuple[RankingResult, ...]:
    by_objectives = [
        RankingResult(
            objective.words,
            objective.unit,
            objective.display_unit,
            objective.sign,
            ranking(found.scores[:, k]),
        )
        for k, objective in enumerate(found.objectives)
    ]
    by_limits = RankingResult("all limits met", "1", "%", 1.0, ranking(found.all_hold.astype(float)))
    return (*by_objectives, by_limits)


def safe_builds(candidates: Sequence[CandidateResult], study: Study) -> list[int]:
    """Return the places of the candidates that pass every safety limit: no others may be chosen."""
    return [
        place
        for place, one in enumerate(candidates)
        if all(
            own.verdict == "pass" for own, limit in zip(one.limits, study.limits, strict=True) if limit.safety
        )
    ]


def _decision(
    found: SideBySide, plan: Plan, payoff: Payoff, safe: list[int], stages: Stages
) -> DecisionResult:
    """Choose among the safe builds, and weigh what knowing more would bring to that choice."""
    scores = None if payoff.objective is None else found.score(payoff.objective)
    payoffs = payoff.of(scores, found.all_hold)
    means = payoffs.mean(axis=1)
    # Without a choice to make, nothing is gained by knowing more.
    choice = payoffs[safe] if safe else np.zeros((1, payoffs.shape[1]))
    everything = gain_to_decision(choice)
    sign = 1.0 if payoff.objective is None else payoff.objective.sign
    known = choice[:, :INFORMATION_SAMPLES]
    inputs: tuple[InformationResult, ...] = ()
    measurements: tuple[MeasurementResult, ...] = ()
    with stages.analysis("what to learn before choosing"):
        truths = _truths(plan, known.shape[1]) if everything.gain.value > 0 else {}
        inputs = _worth_of_inputs(found.builds, truths, known)
        measurements = _worth_of_measurements(found, truths, known)
    return DecisionResult(
        by=payoff.words,
        unit="1" if payoff.objective is None else payoff.objective.unit,
        display_unit="%" if payoff.objective is None else payoff.objective.display_unit,
        payoffs=tuple(float(sign * mean) for mean in means),
        best=found.builds[max(safe, key=lambda place: means[place])].name if safe else None,
        everything=everything,
        inputs=inputs,
        measurements=measurements,
    )


def _truths(plan: Plan, samples: int) -> dict[str, Array]:
    """Draw the inputs again, one for each stream: those that follow one stream are known together."""
    chunks = [plan.random_chunk(index, size) for index, size in enumerate(chunk_sizes(samples))]
    keys = {plan.uncertain[key].stream: key for key in reversed(list(plan.uncertain))}
    return {stream: np.concatenate([chunk[keys[stream]] for chunk in chunks]) for stream in plan.streams}


def _worth_of_inputs(
    builds: Sequence[Build], truths: Mapping[str, Array], payoffs: Array
) -> tuple[InformationResult, ...]:
    """Weigh knowing each input exactly; keep what pays."""
    words = {build.name: build.words for build in builds}
    found = []
    for stream, truth in truths.items():
        worth = gain_to_decision(payoffs, normal_scores(truth)[None])
        if worth.gain.value > SIGNIFICANT * worth.gain.error:
            name, _, whose = stream.partition("@")
            called = label(name) + (f" of {words.get(whose, whose)}" if whose else "")
            found.append(InformationResult(stream, called, whose if whose in words else None, worth))
    return tuple(sorted(found, key=lambda one: -one.worth.gain.value))


def _worth_of_measurements(
    found: SideBySide, truths: Mapping[str, Array], payoffs: Array
) -> tuple[MeasurementResult, ...]:
    """Weigh what could be measured, once more for each candidate with a part of its own to measure."""
    weighed = []
    for measurement in ways_to_measure(found.study).measurements:
        for build in (None, *found.builds):
            reads = _reads_of(measurement.reads, build, truths)
            if reads:
                one = replace(measurement, reads=reads)
                worth = gain_to_decision(payoffs, take_readings(one, truths, found.study.seed))
                label = one.label if build is None else f"{one.label} of {build.words}"
                of = None if build is None else build.name
                weighed.append(MeasurementResult(one.name, label, of, one.hours, worth))
    return tuple(sorted(weighed, key=lambda one: -one.worth.gain.value))


def _reads_of(
    reads: Mapping[str, Accuracy], build: Build | None, truths: Mapping[str, Array]
) -> dict[str, Accuracy]:
    """Return what a measurement reads that matters here: on any car, or on one with parts of its own."""
    if build is None:
        return {name: accuracy for name, accuracy in reads.items() if name in truths}
    own = {name: f"{name}@{build.name}" for name in reads}
    if truths.keys().isdisjoint(own.values()):
        return {}
    names = {name: own[name] if own[name] in truths else name for name in reads}
    return {names[name]: accuracy for name, accuracy in reads.items() if names[name] in truths}


def _recommended(candidates: Sequence[CandidateResult], objectives: Sequence[Objective]) -> str | None:
    passing = [one for one in candidates if one.verdict == "pass"]
    if not passing:
        return None
    if not objectives:
        return max(passing, key=lambda one: one.joint.probability).name
    worst = -math.inf
    return max(
        passing,
        key=lambda one: (
            worst if math.isnan(one.objectives[0].mean) else objectives[0].sign * one.objectives[0].mean
        ),
    ).name


def _notes(candidates: Sequence[CandidateResult], surely: Sequence[str]) -> tuple[str, ...]:
    notes = [
        f"{one.words}: no limit and no objective depends on {', '.join(one.without_effect)}"
        for one in candidates
        if one.without_effect
    ]
    if surely:
        named = listed(f"“{name}”" for name in surely)
        notes.append(
            f"whether a build passes {named} is judged with cars and days apart; which "
            "build is surer of it, and what is gained by knowing more, with both together"
        )
    for one in candidates:
        lost = [
            f"{objective.unanswered} samples of {objective.name}"
            for objective in one.objectives
            if objective.unanswered
        ]
        if lost:
            notes.append(f"{one.words}: no answer in {', '.join(lost)}; they rank last")
    return tuple(notes)
