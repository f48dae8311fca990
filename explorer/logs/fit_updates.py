"""A fit weighed against what the study believed: its samples, reweighted by how well each explains the log.

Where data are few, or the log shows only a consequence of the inputs, as a top speed does, the study's belief
matters.  Each sample is a car; the log makes some cars likelier than others.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from explorer.engine.plan import CHUNK, make_plan
from explorer.errors import StudyError
from explorer.graph.arrays import Array
from explorer.logs.fitting.bayes import Updated, reweighted
from explorer.logs.fitting.fit import Fit, correlation_of
from explorer.logs.kinds.task import Finding
from explorer.logs.shared_errors import Shared
from explorer.logs.test_conditions import DayOfLog

# Samples that are weighed: enough that a log ten times sharper than the study leaves thousands.
CHUNKS = 8
# An input the log says less about than this, in its own spread, stays as the study gives it.
LEAST_SHIFT = 0.2
LEAST_NARROWING = 0.9
LEAST_SHARED = 0.05


@dataclass(frozen=True)
class Posterior:
    """The study's inputs after the log, as a fit; their correlations with other inputs; the update itself."""

    fit: Fit
    shared: tuple[Shared, ...]
    update: Updated


@dataclass(frozen=True)
class _Samples:
    """Samples, shape (samples,) each: inputs of the car, what the fit found, and what it took as known."""

    inputs: Mapping[str, Array]
    found: Mapping[str, Array]
    taken: Mapping[str, Array]


def updated(finding: Finding, day: DayOfLog, weighed_in: Sequence[str] = ()) -> Posterior:
    """Update the study's inputs by a fit.

    Where the fit took an input of the study as known, each sample is held against the estimates that its own
    value of that input would have given.

    Raises
    ------
    StudyError
        When the study does not predict what was found, or its belief is in the fit already.
    SampleError
        When no sample explains the log.
    """
    if weighed_in:
        raise StudyError(
            "the study's belief is weighed into this fit already, and an update would count it twice",
            key="weigh_in",
            found=", ".join(weighed_in),
            remedy="leave weigh_in out for --update",
        )
    names = _predicted(finding, day)
    samples = _samples(finding, day, names)
    update = reweighted(
        np.column_stack(list(samples.inputs.values())),
        list(samples.inputs),
        _log_likelihood(finding.fit, names, samples),
    )
    return _chosen(update, day, finding)


def _predicted(finding: Finding, day: DayOfLog) -> tuple[str, ...]:
    graph, given = day.study.graph, {*finding.scope, *day.study.tables}
    names = tuple(name for name in finding.fit.names if name in graph and not graph.missing([name], given))
    if not names:
        raise StudyError(
            "the study does not predict what this fit found, so it has nothing to update",
            found=", ".join(finding.fit.names),
        )
    return names


def _samples(finding: Finding, day: DayOfLog, names: Sequence[str]) -> _Samples:
    """Draw the study and evaluate what the fit found and what it took as known from the car."""
    own = [known.name for known in finding.fit.known if day.of_the_car(known.name)]
    scopes = {"found": finding.scope}
    wanted = [*((name, "found") for name in (*names, *own))]
    for name, where in finding.follows.items():
        scopes[name] = day.scope(**where)
        wanted.append((name, name))
    plan = make_plan(day.study, wanted, scopes=scopes)
    parts = []
    for chunk in range(CHUNKS):
        drawn = plan.random_chunk(chunk, CHUNK)
        parts.append((drawn, plan.evaluate(drawn)))
    joined = {pair: np.concatenate([found[pair] for _, found in parts]) for pair in wanted}
    return _Samples(
        {
            key: np.concatenate([drawn[key] for drawn, _ in parts])
            for key in plan.uncertain
            if day.of_the_car(key)
        },
        {name: joined[name, "found"] for name in names},
        {
            name: joined[name, name if name in finding.follows else "found"]
            for name in (*own, *finding.follows)
        },
    )


def _log_likelihood(fit: Fit, names: Sequence[str], samples: _Samples) -> Array:
    """Log-likelihood of the estimates for every sample, up to a constant: shape (samples,).

    The estimates are jointly normal; given a sample's own values of what the fit took as known, they move by
    the regression on those and keep the rest of the covariance (conditional normal distribution).
    """
    places = [fit.names.index(name) for name in names]
    difference = np.column_stack([samples.found[name] for name in names]) - fit.estimates[places]
    covariance = fit.covariance[np.ix_(places, places)]
    taken = [known for known in fit.known if known.name in samples.taken and known.standard_uncertainty > 0]
    if taken:
        everything = [known.name for known in fit.known]
        matrix = np.eye(len(everything)) if fit.known_correlation is None else fit.known_correlation
        own = [everything.index(known.name) for known in taken]
        shifts = np.column_stack([fit.contributions[name][places] for name in everything])
        regression = shifts @ matrix[:, own] @ np.linalg.inv(matrix[np.ix_(own, own)])
        departures = np.column_stack(
            [(samples.taken[known.name] - known.value) / known.standard_uncertainty for known in taken]
        )
        difference = difference - departures @ regression.T
        covariance = covariance - regression @ matrix[np.ix_(own, own)] @ regression.T
    squares = np.einsum("si,ij,sj->s", difference, np.linalg.inv(covariance), difference)
    return np.asarray(-squares / 2)


def _chosen(update: Updated, day: DayOfLog, finding: Finding) -> Posterior:
    """Keep the inputs that the log says something about, and how they go with the others."""
    shift = np.abs(update.mean - update.before_mean) / update.before_sd
    narrowing = update.sd / update.before_sd
    told = (shift > LEAST_SHIFT) | (narrowing < LEAST_NARROWING)
    if not told.any():
        told = narrowing == narrowing.min()
    chosen = np.flatnonzero(told)
    names = tuple(update.names[i] for i in chosen)
    kept = replace(
        update,
        names=names,
        before_mean=update.before_mean[chosen],
        before_sd=update.before_sd[chosen],
        mean=update.mean[chosen],
        covariance=update.covariance[np.ix_(chosen, chosen)],
    )
    correlation = correlation_of(update.covariance)
    # Correlations in weighted samples are chance below four standard errors.
    least = max(LEAST_SHARED, 4 / np.sqrt(update.effective_samples))
    shared = tuple(
        Shared(update.names[i], update.names[j], float(correlation[i, j]))
        for i in chosen
        for j in np.flatnonzero(~told)
        if abs(correlation[i, j]) >= least
    )
    fit = kept.as_fit([day.study.graph[name].unit for name in names], finding.fit.sources)
    note = "handed over by mean, standard deviation and correlations, as a normal distribution has them"
    return Posterior(replace(fit, notes=(*fit.notes, note)), shared, kept)
