"""From a checked study to results: the stages of ``squatline run``, one after the other."""

from __future__ import annotations

import math
import os
import platform
from collections.abc import Iterator, Mapping
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import numpy as np

from explorer.analyses.cautions_of_cars import cautions_of_cars
from explorer.analyses.convergence import Steady, convergence_of
from explorer.analyses.correlated import with_members
from explorer.analyses.failing_cars import failing_cars, first_kept, most_in_the_way, nearest_car
from explorer.analyses.measurement_value import weigh_measurements
from explorer.analyses.nominal import Nominal, nominal_values
from explorer.analyses.nominal_curves import nominal_curves, runs_over_strip
from explorer.analyses.rare_failures import search_rare_failures, seldom_failing
from explorer.analyses.sensitivity import keys_upstream, run_sensitivity
from explorer.analyses.sweeps import run_sweeps
from explorer.analyses.taken_for_granted import taken_for_granted
from explorer.analyses.two_levels import check_kinds_apart, ignorance_or_day, sure_cars, sureness_of
from explorer.analyses.verdicts import Looks, judge_outcome, with_sureness
from explorer.analyses.ways_to_measure import ways_to_measure
from explorer.design.highest_speed import run_highest_speed
from explorer.design.levers import try_levers
from explorer.engine.checkpoint import Checkpoint
from explorer.engine.execution import Execution
from explorer.engine.fingerprint import CHOOSING, fingerprint
from explorer.engine.montecarlo import Outcome, all_of, run_montecarlo
from explorer.engine.plan import CHUNK
from explorer.engine.stages import Stages
from explorer.engine.storage import SampleFiles
from explorer.engine.streaming import BINS, Tally
from explorer.engine.versions import installed
from explorer.errors import read_all, with_file
from explorer.estimators.conformance import CONFIDENCE, Conformance
from explorer.estimators.two_levels import Sureness
from explorer.files.characters import visible
from explorer.graph.labels import input_label
from explorer.graph.written import some_of
from explorer.logs.replaced_inputs import replaced_inputs
from explorer.logs.run_checks import logged_runs_of
from explorer.results.cautions import ASSUMPTIONS, CAUTIONS, NOT_MODELLED
from explorer.results.histogram import BARS, Histogram
from explorer.results.records import (
    ConditionRecord,
    FailureRecord,
    InputRecord,
    LimitRecord,
    OutputRecord,
    QuantityRecord,
    Reproduction,
    Summary,
)
from explorer.results.stored import Results
from explorer.study.builds import AS_IT_STANDS, overrides_in
from explorer.study.limits import Limit, Output
from explorer.study.study import Input, Study
from explorer.study.throttle import throttle_words

REPORTED_QUANTILES = (0.001, 0.01, 0.025, 0.05, 0.1, 0.25, 0.5, 0.75, 0.9, 0.95, 0.975, 0.99, 0.999)
LIBRARIES = ("numpy", "scipy", "SALib", "pandas", "pyarrow", "pint", "pydantic", "altair", "weasyprint")
# Inputs without a source that are named in a warning; a list of the report has them all.
SILENT_NAMED = 8


def run(
    study: Study,
    *,
    samples: int | None = None,
    execution: Execution | None = None,
    until_decided: bool = False,
    until_steady: bool = False,
) -> Results:
    """Sample a study, judge its limits and rank what drives them.

    Once the samples are there nothing takes them along: an analysis that fails is named in the summary with
    the reason, its error is among the results' errors, and only what it would have found is missing.

    Parameters
    ----------
    samples:
        Number of samples instead of the study's own.
    execution:
        On which workers, told to whom, and where a long run notes how far it is and puts the samples that it
        keeps; by default here and nowhere.  The numbers do not depend on it.
    until_decided:
        Whether to stop as soon as no limit is undecided, ``samples`` being the most to draw.  Many looks at
        the verdicts are paid for by wider intervals.
    until_steady:
        Whether to go on until the figures of every output stand still (JCGM 101:2008, 7.9), with the same
        most; with both, until both hold.

    Returns
    -------
    Results
        Summary, kept samples as a data frame (None when the study does not keep them, or when they are too
        many and lie in files) and stage times.
    """
    execution, stages = execution or Execution(), Stages()
    # A fault in any of them is told before anything long begins.
    with stages.stage("logged runs"), with_file(str(study.path)):
        ways, logged_runs, _ = read_all(study, (ways_to_measure, logged_runs_of, check_kinds_apart))
    with stages.stage("nominal values"):
        nominal = nominal_values(study)
        granted = tuple(taken_for_granted(study, nominal))
    most = samples or study.samples
    looks = Looks(study.limits, most) if until_decided else None
    rules = [rule for rule in (looks, Steady(most) if until_steady else None) if rule is not None]
    with stages.stage("samples"):
        outcome = run_montecarlo(
            study,
            samples=samples,
            execution=execution,
            until=all_of(rules),
        )
    verdicts = judge_outcome(study.limits, outcome, looks.confidence if looks else CONFIDENCE)
    with stages.stage("cars and their days"):
        cars = sure_cars(study, execution=execution)
        sureness = sureness_of(study, cars)
    verdicts = with_sureness(verdicts, study.limits, sureness)
    with stages.stage("summary"):
        outputs = tuple(_output(study, outcome, i, nominal) for i in range(len(outcome.outputs)))
        means = {(output.quantity, output.condition): output.mean for output in outputs}
        upstream = {limit.name: keys_upstream(study, limit) for limit in study.limits}
        summary = Summary(
            title=study.title,
            description=study.description,
            note=study.note,
            reproduction=_reproduction(study, outcome),
            inputs=tuple(
                _input(study, one, upstream) for one in study.all_inputs() if _matters(study, one, nominal)
            ),
            correlations=study.correlations,
            conditions=tuple(_condition(study, name) for name in study.conditions),
            limits=tuple(
                _limit(study, outcome, limit, judged, sureness.get(limit.name))
                for limit, judged in zip(study.limits, verdicts.limits, strict=True)
            ),
            joint=verdicts.joint,
            joint_safety=verdicts.joint_safety,
            outputs=outputs,
            sweeps=(),
            failures=tuple(_failures(study, outcome)),
            nominal=nominal,
            handbook=tuple(_handbook(study, nominal)),
            assumptions=(*study.assumptions, *ASSUMPTIONS),
            not_modelled=(*study.not_modelled, *NOT_MODELLED),
            cautions=CAUTIONS,
            warnings=(*_warnings(study), *granted, *ways.cautions),
            cautions_of_cars=tuple(cautions_of_cars(study, means)),
            families=dict(study.graph.families),
            display=dict(study.display),
            from_catalogue=dict(ways.from_catalogue),
            unread=ways.unread,
            validation=logged_runs,
            fits=replaced_inputs(study),
        )
    # From here on each analysis adds what it finds; where one fails, only that is missing.
    unmet = [limit.name for limit in summary.limits if limit.conformance.verdict != "pass"]
    with stages.analysis("what drives the limits"):
        drivers = with_members(study, outcome, run_sensitivity(study, unmet, execution=execution))
        limits = [replace(one, sensitivity=drivers.get(one.name)) for one in summary.limits]
        summary = replace(summary, limits=tuple(limits))
    with stages.analysis("ignorance or the day"):
        apart = ignorance_or_day(study)
        limits = [replace(one, between_cars=apart.get(one.name)) for one in summary.limits]
        summary = replace(summary, limits=tuple(limits))
    with stages.analysis("what measuring is worth"):
        execution.progress("measuring", 0, 1)
        summary = replace(summary, measuring=weigh_measurements(study, outcome, ways, cars))
        execution.progress("measuring", 1, 1)
    with stages.analysis("levers"):
        levers = try_levers(study, unmet, cars=first_kept(outcome), execution=execution)
        summary = replace(summary, levers=levers)
    if study.any_day.inputs:
        with stages.analysis("speeds allowed today"):
            alone = replace(execution, checkpoint=Checkpoint())
            summary = replace(summary, highest_speed=run_highest_speed(study, AS_IT_STANDS, alone))
    with stages.analysis("rare failures"):
        seldom = seldom_failing(study, verdicts.limits)
        rare = search_rare_failures(study, seldom, outcome=outcome, execution=execution)
        summary = replace(summary, rare=rare)
    with stages.analysis("failing cars"):
        failing, together = failing_cars(study, first_kept(outcome))
        summary = replace(summary, failing=failing, together=together)
        if (worst := most_in_the_way(study.limits, verdicts.limits)) is not None:
            summary = replace(summary, nearest=nearest_car(study, worst))
    with stages.analysis("curves of the nominal car"):
        curves = nominal_curves(study, nominal)
        summary = replace(summary, curves=curves, runs=runs_over_strip(study, nominal))
    with stages.analysis("sweeps"):
        summary = replace(summary, sweeps=run_sweeps(study, progress=execution.progress))
    with stages.analysis("were they enough"):
        summary = replace(summary, convergence=convergence_of(outcome))
    summary = replace(summary, unfinished=tuple(stages.failures))
    return Results(summary, outcome.kept or None, tuple(stages.times), tuple(stages.errors))


def _output(study: Study, outcome: Outcome, position: int, nominal: Nominal) -> OutputRecord:
    output, tally = outcome.outputs[position], outcome.tallies[position]
    quantity = study.graph[output.quantity]
    # Samples in files are too many to sort: the fine bins of the tally serve.
    kept = None if isinstance(outcome.kept, SampleFiles) else outcome.kept.get(output.column)
    if kept is not None and tally.count and len(kept) == outcome.samples:
        finite = kept[np.isfinite(kept)]
        quantiles = tuple(
            zip(REPORTED_QUANTILES, np.quantile(finite, REPORTED_QUANTILES).tolist(), strict=True)
        )
    else:
        quantiles = tuple((p, tally.quantile(p)) for p in REPORTED_QUANTILES)
    return OutputRecord(
        **vars(output),
        summary=quantity.summary,
        unit=quantity.unit,
        display_unit=_shown_in(study, output, tally.highest),
        count=tally.count,
        failed=tally.failed,
        capped=tally.capped,
        nominal=_nominal(output, nominal),
        mean=tally.mean if tally.count else math.nan,
        sd=tally.sd if tally.count else math.nan,
        lowest=tally.lowest,
        highest=tally.highest,
        quantiles=quantiles,
        histogram=_histogram(tally),
        throttle=throttle_words(study, output),
        at_speed=any(
            "speed" in study.graph.inputs_of(name, study.given_names(where)) for name, where in output.pairs
        ),
    )


def _nominal(output: Output, nominal: Nominal) -> float:
    values = {pair: nominal[pair[1]].get(pair[0]) for pair in output.pairs}
    return float(output.value({pair: np.asarray(math.nan if v is None else v) for pair, v in values.items()}))


def _shown_in(study: Study, output: Output, magnitude: float) -> str:
    """Return the unit of the limit on it, else that of the study."""
    for limit in study.limits:
        if limit.output == output:
            return limit.display_unit
    return study.unit_of(output.quantity, magnitude)


def _histogram(tally: Tally) -> Histogram:
    """Merge the fine bins between the 0.1 % and 99.9 % quantiles into bars."""
    if tally.count == 0:
        return Histogram((0.0, 1.0), (0,))
    if tally.lowest == tally.highest:
        return Histogram((tally.lowest, tally.lowest), (tally.count,))
    edges = tally.bins.edges
    first = int(np.searchsorted(edges, tally.quantile(0.001), side="right")) - 1
    last = int(np.searchsorted(edges, tally.quantile(0.999), side="left"))
    first = max(0, min(first, BINS - 1))
    last = max(first + 1, min(last, BINS))
    width = max(1, math.ceil((last - first) / BARS))
    starts = np.arange(first, last, width)
    inner = tally.counts[1:-1]
    ends = np.minimum(starts + width, BINS)
    counts = tuple(int(inner[a:b].sum()) for a, b in zip(starts, ends, strict=True))
    below = int(tally.counts[: first + 1].sum())
    shown = (*(float(e) for e in edges[starts]), float(edges[ends[-1]]))
    return Histogram(shown, counts, below, tally.count - below - sum(counts))


def _limit(
    study: Study,
    outcome: Outcome,
    limit: Limit,
    judged: Conformance,
    sureness: Sureness | None,
) -> LimitRecord:
    return LimitRecord(
        **vars(limit.output),
        name=limit.name,
        low=limit.low,
        high=limit.high,
        asked=limit.asked.words,
        probability=limit.probability,
        safety=limit.safety,
        why=limit.why,
        unit=study.graph[limit.output.quantity].unit,
        display_unit=limit.display_unit,
        output=outcome.outputs.index(limit.output),
        conformance=judged,
        sensitivity=None,
        sureness=sureness,
        throttle=throttle_words(study, limit.output),
    )


def _matters(study: Study, given: Input, nominal: Nominal) -> bool:
    """Leave out defaults of models that this study does not use."""
    return not given.default or any(given.quantity in values for values in nominal.values())


def _input(study: Study, given: Input, upstream: Mapping[str, set[str]]) -> InputRecord:
    quantity = study.graph[given.quantity]
    distribution, before = given.distribution, study.any_day.inputs.get(given.quantity)
    low, high = (float(distribution.quantile(np.array([p]))[0]) for p in (0.025, 0.975))
    return InputRecord(
        key=given.key,
        quantity=given.quantity,
        summary=quantity.summary,
        unit=quantity.unit,
        display_unit=given.display_unit,
        words=distribution.said,
        exact=given.exact,
        nominal=float(distribution.nominal),
        sd=float(distribution.sd),
        low=low,
        high=high,
        source=given.source,
        default=given.default,
        condition=given.condition,
        reaches=tuple(name for name, keys in upstream.items() if given.key in keys),
        varies=given.varies,
        any_day=before.distribution.said if before is not None and given.condition is None else None,
    )


def _condition(study: Study, name: str) -> ConditionRecord:
    condition = study.conditions[name]
    sets = overrides_in(condition.overrides, study.graph)
    return ConditionRecord(name, condition.words, sets, condition.throttle)


def _failures(study: Study, outcome: Outcome) -> Iterator[FailureRecord]:
    for (position, name), count in sorted(outcome.first_failed.items()):
        output, quantity = outcome.outputs[position], study.graph[name]
        meaning = (
            "drawn outside its physical range" if quantity.is_given else quantity.fails or "no finite answer"
        )
        yield FailureRecord(output.quantity, output.condition, name, meaning, count)


def _handbook(study: Study, nominal: Nominal) -> Iterator[QuantityRecord]:
    used = {name for values in nominal.values() for name in values}
    for quantity in study.graph.quantities.values():
        if quantity.name in used:
            given = quantity.is_given or quantity.name in study.inputs
            needs = () if given else quantity.needed_names
            yield QuantityRecord(
                quantity.name,
                quantity.subject,
                quantity.unit,
                quantity.summary,
                quantity.description,
                quantity.source,
                needs,
                given,
            )


def _warnings(study: Study) -> Iterator[str]:
    silent = [one.key for one in study.all_inputs() if one.source is None]
    if silent:
        count = f"{len(silent)} inputs" if len(silent) > 1 else "1 input"
        conditions = {name: one.words for name, one in study.conditions.items()}
        named = some_of([input_label(key, conditions) for key in silent], SILENT_NAMED)
        yield f"no source is given for {count}: {named}"


def _reproduction(study: Study, outcome: Outcome) -> Reproduction:
    return Reproduction(
        study_file=visible(f"{study.path.resolve().parent.name}/{study.path.name}"),
        study_sha256=study.sha256,
        seed=study.seed,
        samples=outcome.samples,
        chunk=CHUNK,
        design=study.design,
        version=installed("squatline"),
        python=platform.python_version(),
        libraries=tuple((name, installed(name)) for name in LIBRARIES),
        created=_now(),
        command=visible(f"squatline run {_place(study)}"),
        fingerprint=fingerprint(study, CHOOSING),
    )


def _place(study: Study) -> str:
    """Return the study's folder as one types it from here; from elsewhere only its name."""
    folder = study.path.resolve().parent
    here = Path.cwd()
    return folder.relative_to(here).as_posix() if folder.is_relative_to(here) else folder.name


def _now() -> str:
    """Return the time of the run, or SOURCE_DATE_EPOCH where builds are to be repeatable."""
    epoch = os.environ.get("SOURCE_DATE_EPOCH")
    moment = datetime.fromtimestamp(int(epoch), UTC) if epoch else datetime.now(UTC)
    return moment.strftime("%Y-%m-%d %H:%M UTC")
