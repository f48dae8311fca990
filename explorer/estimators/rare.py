"""Small probabilities of a safety limit being broken, down to about one in a million and beyond.

Plain sampling needs a hundred failures to know a probability to ten per cent, a hundred million samples for
one in a million.  Two other ways are taken here, one on the back of the other:

* Subset simulation walks towards failure in steps, each reached by one sample in ten of the step before; the
  probability is the product of the steps.  Several independent walks give the coefficient of variation.
* Importance sampling then draws independent samples around the failures found, and weighs each by how much
  likelier it was drawn than it is.

They err in different ways, so that their agreement is a check; but both know only the failures that the walks
came upon.  A count of independent cars knows no such bounds, so what was counted elsewhere is held against
them, and where the two cannot both be right the count is given.  The failing car nearest to the middle of all
distributions is the most likely one.

Everything happens in standard normal space: one coordinate for each independent input, whose value is the
quantile at Phi(u).  Fail means a margin below zero, or none at all.

Sources: Au & Beck, Probabilistic Engineering Mechanics 16 (2001) 263, for subset simulation; Papaioannou,
Betz, Zwirglmaier & Straub, 41 (2015) 89, for the adaptive conditional sampling of its chains.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import partial
from typing import TypeAlias, TypeVar

import numpy as np
from scipy.special import ndtri, stdtrit

from explorer.errors import SampleError
from explorer.estimators.conformance import CONFIDENCE, binomial_interval
from explorer.estimators.nearest_failure import MarginOf, failing_is_lowest, most_likely_failure
from explorer.estimators.side_by_side import Search, side_by_side
from explorer.graph.arrays import Array
from explorer.graph.written import about, percent

Result = TypeVar("Result")
# Asks for the margins of points.
Walking: TypeAlias = Search[Array, Array, Result]

SUBSET = "subset simulation"
IMPORTANCE = "importance sampling around the failures found"
COUNTED = "count of the run's own cars"

# Share of the samples that seeds the next step, and the probability below which nothing is claimed.
STEP_SHARE = 0.1
LEAST = 1e-12
# Failures among the cars that a walk starts from which are enough to go by.
ENOUGH = 5
# Acceptance that makes chains forget soonest (Papaioannou et al. 2015).
BEST_ACCEPTANCE = 0.44
# Two estimates disagree when so great a distance between them would come by chance but once in 400.
APART = 0.9975
# Importance sampling draws so many at once, and ends by default at such a coefficient of variation.
AT_ONCE = 1000
CLOSE = 0.04
# Variances nearer to one than this many standard errors are taken as one.
DISTINCT = 4.0


@dataclass(frozen=True)
class RareFailure:
    """Probability of a failure that plain sampling would hardly see.

    Attributes
    ----------
    probability, low, high:
        The estimate with its interval, on the scale of its logarithm.
    variation:
        Coefficient of variation of the estimate: its standard error over the estimate itself.
    method:
        Which of the two it comes from: the surer one where they agree, else the higher; or a count.
    subset, subset_variation, weighted, weighted_variation:
        Both estimates with their coefficients of variation.
    agree:
        Whether they agree within their errors, and with what was counted.
    evaluations:
        Of the model, in all.
    most_likely:
        Point of highest density at which the limit is broken, a number for each dimension in standard normal
        space; empty when no failure was found.
    distance:
        Its distance from the middle, in standard deviations (reliability index); infinite when there is none.
    note:
        What a reader must know; empty when nothing is out of the ordinary.
    """

    probability: float
    low: float
    high: float
    variation: float
    method: str
    subset: float
    subset_variation: float
    weighted: float
    weighted_variation: float
    agree: bool
    evaluations: int
    note: str
    distance: float
    most_likely: tuple[float, ...] = ()


@dataclass(frozen=True)
class Start:
    """What is known before a walk: the lowest margins of so many independent cars, and where they lie."""

    points: Array
    margins: Array
    cars: int


@dataclass(frozen=True)
class Walk:
    """One run of subset simulation.

    Attributes
    ----------
    probability:
        Its estimate; zero when it never reached a failure.
    failures:
        Failing samples it found, shape (failures, dimensions).
    evaluations:
        Of the model.
    bound:
        Product of the steps taken: when no failure was reached, the probability is hardly above it.
    least_variation:
        Coefficient of variation the estimate would have were all its samples independent.
    """

    probability: float
    failures: Array
    evaluations: int
    bound: float
    least_variation: float


def rare_failure(
    margin_of: MarginOf,
    dimensions: int,
    *,
    seed: int,
    samples: int = 400,
    walks: int = 8,
    weighted_samples: int = 10_000,
    least: float = LEAST,
    close: float = CLOSE,
    starts: Sequence[Start] = (),
) -> RareFailure:
    """Estimate a small probability of failure.

    Parameters
    ----------
    margin_of:
        Margins of samples in standard normal space; below zero, or not finite, is a failure.
    dimensions:
        Number of coordinates.
    seed:
        Of all random numbers.
    samples, walks:
        Samples in each step of each walk, and independent walks.
    weighted_samples:
        The most to draw for importance sampling, which ends as soon as it knows the probability closely.
    least, close:
        Probability below which no walk goes on, and coefficient of variation at which enough is known.
    starts:
        What each walk starts from; by default its own samples.

    Raises
    ------
    SampleError
        With too few samples or walks to state a coefficient of variation.
    """
    if walks < 2 or samples * STEP_SHARE < 10 or weighted_samples < 100:
        raise SampleError(
            "too few samples to say how sure a small probability is",
            found=f"{walks} walks of {samples} samples, {weighted_samples} weighted ones",
            allowed="2 walks of 100 samples and 100 weighted ones, or more",
        )
    done = side_by_side(
        [
            subset_walk(dimensions, samples, generator(seed, walk), least, start)
            for walk, start in zip(range(walks), starts or (None,) * walks, strict=True)
        ],
        partial(_margins_of_all, margin_of),
    )
    evaluations = sum(walk.evaluations for walk in done)
    failures = np.concatenate([walk.failures for walk in done])
    estimates = np.array([walk.probability for walk in done])
    subset = float(estimates.mean())
    if not len(failures) or subset < least:
        plain = sum(start.cars for start in starts) or walks * samples
        reached = max(walk.bound for walk in done)
        return _none_found(reached, least, plain, evaluations)
    # A few walks can agree by chance, but not better than independent samples would.
    least = math.sqrt(sum(walk.least_variation**2 for walk in done) / walks)
    subset_variation = max(float(np.std(estimates, ddof=1)) / subset, least) / math.sqrt(walks)
    weighted, weighted_variation, drawn = importance_sampling(
        margin_of, failures, weighted_samples, generator(seed, walks), close
    )
    point, tried = most_likely_failure(margin_of, failures)
    found = _combined(subset, subset_variation, weighted, weighted_variation, walks)
    return replace(
        found,
        evaluations=evaluations + drawn + tried,
        most_likely=tuple(point.tolist()),
        distance=float(np.linalg.norm(point)),
    )


def held_against(found: RareFailure, failed: int, trials: int) -> RareFailure:
    """Hold an estimate against a count of independent cars; the count is given where they contradict.

    They do where the estimate's interval has nothing in common with that of the count which is wrong but once
    in 400: as far apart as two estimates must be to disagree.

    Parameters
    ----------
    found:
        The estimate.
    failed, trials:
        Cars that fail, and cars counted; no better than independent.
    """
    low, high = binomial_interval(failed, trials, APART)
    if low <= found.high and found.low <= high:
        return found
    low, high = binomial_interval(failed, trials)
    return replace(
        found,
        probability=failed / trials,
        low=low,
        high=high,
        variation=math.sqrt((1 - failed / trials) / failed) if failed else math.inf,
        method=COUNTED,
        agree=False,
        note=f"the search found 1 failing car in {about(1 / found.probability)}, but {failed} of the "
        f"run's own {trials} cars fail: it missed a way to fail or met too few, so the count is given"
        if found.probability
        else f"the search found no failing car, but {failed} of the run's own {trials} cars fail: "
        "the count is given",
    )


def shares_of_correlated(scores: Array, matrix: Array) -> Array:
    """Share out the squared distance of a failing point over correlated inputs, whatever their order.

    The inverse square root of the correlation matrix turns the scores into independent ones that each stay as
    near as can be to their own input (Kessy, Lewin & Strimmer, American Statistician 72 (2018) 309); their
    squares add up to the squared distance.

    Parameters
    ----------
    scores, matrix:
        Normal scores of the inputs, shape (inputs,), and the matrix of their correlations.
    """
    values, directions = np.linalg.eigh(matrix)
    return np.asarray(((directions / np.sqrt(values)) @ directions.T @ scores) ** 2)


def generator(seed: int, stream: int) -> np.random.Generator:
    """Make one of the independent streams of random numbers of a run."""
    return np.random.Generator(np.random.Philox(key=[seed, stream]))


def _margins_of_all(margin_of: MarginOf, asked: Mapping[int, Array]) -> list[Array]:
    margins = failing_is_lowest(margin_of(np.concatenate(list(asked.values()))))
    return np.split(margins, np.cumsum([len(points) for points in asked.values()])[:-1])


def subset_walk(
    dimensions: int,
    samples: int,
    random: np.random.Generator,
    least: float = LEAST,
    start: Start | None = None,
) -> Walking[Walk]:
    """Walk towards failure, step by step (Au & Beck 2001).

    Each step keeps the tenth of the samples with the least margin and grows a chain from each of them that
    never leaves the region below the largest margin kept.

    Yields
    ------
    Array
        Points whose margins it is to be sent.
    """
    probability, evaluations, last, variance = 1.0, 0, math.inf, 0.0
    if start is None:
        points = random.standard_normal((samples, dimensions))
        margins = yield points
        evaluations = samples
    else:
        points, margins = start.points, failing_is_lowest(start.margins)
        probability = len(points) / start.cars
        variance = (1 - probability) / len(points)
        threshold = float(margins.max())
        # Of equal margins no one tells how many more there are.
        if np.count_nonzero(margins < 0) < ENOUGH and margins.min() < threshold:
            last = threshold
            points, margins, tried = yield from _chains(points, margins, threshold, samples, random)
            evaluations = tried
    # A hair above, as the product of the steps is rounded.
    while probability > least * 1.001:
        threshold = float(np.quantile(margins, STEP_SHARE, method="lower"))
        if threshold < 0:
            break
        kept = margins <= threshold
        # Equal margins, as of a speed that is capped, can stop the walk: then there is no way to follow.
        if threshold >= last or kept.mean() > 1 - STEP_SHARE:
            break
        last, share = threshold, float(kept.mean())
        probability *= share
        variance += (1 - share) / (share * samples)
        points, margins, tried = yield from _chains(points[kept], margins[kept], threshold, samples, random)
        evaluations += tried
    failing = margins < 0
    share = float(failing.mean())
    if share > 0:
        variance += (1 - share) / (share * len(points))
    return Walk(probability * share, points[failing], evaluations, probability, math.sqrt(variance))


def _chains(
    seeds: Array,
    seed_margins: Array,
    threshold: float,
    samples: int,
    random: np.random.Generator,
) -> Walking[tuple[Array, Array, int]]:
    """Grow samples below a threshold from seeds that lie there, all chains a step at a time.

    A candidate keeps a part of the point it comes from and takes the rest from a fresh normal draw, which
    leaves the normal distribution as it is; only the threshold can refuse it.  The share is tuned as the
    chains grow, so that about 44 % are accepted (Papaioannou et al. 2015, section 4).
    """
    order = random.permutation(len(seeds))
    points, margins = seeds[order], seed_margins[order]
    spread = np.clip(np.std(seeds, axis=0), 0.05, 1.0)
    scale, grown, grown_margins, count, step = 0.6, [points], [margins], len(points), 0
    while count < samples:
        step += 1
        fresh = np.minimum(scale * spread, 1.0)
        candidate = np.sqrt(1 - fresh**2) * points + fresh * random.standard_normal(points.shape)
        tried = yield candidate
        accepted = tried <= threshold
        points = np.where(accepted[:, None], candidate, points)
        margins = np.where(accepted, tried, margins)
        scale *= math.exp((float(accepted.mean()) - BEST_ACCEPTANCE) / math.sqrt(step))
        grown.append(points)
        grown_margins.append(margins)
        count += len(points)
    return np.concatenate(grown)[:samples], np.concatenate(grown_margins)[:samples], count - len(seeds)


def importance_sampling(
    margin_of: MarginOf, failures: Array, samples: int, random: np.random.Generator, close: float
) -> tuple[float, float, int]:
    """Draw around known failures and weigh every draw by how likely it was, until that says enough.

    Parameters
    ----------
    margin_of:
        As in ``rare_failure``.
    failures:
        Failing samples, shape (failures, dimensions); a normal distribution is fitted to them, wider than the
        standard one only in the directions in which they clearly are.
    samples:
        The most to draw.
    random, close:
        Where from, and the coefficient of variation to end at.

    Returns
    -------
    tuple
        The probability, unbiased whatever the fit, its coefficient of variation, and how many independent
        draws both come from.
    """
    centre = failures.mean(axis=0)
    # One failure has no scatter; the standard one is all there is to go by.
    scatter = np.cov(failures.T) if len(failures) > 1 else np.eye(failures.shape[1])
    variances, directions = np.linalg.eigh(np.atleast_2d(scatter))
    # Scatter of an estimated variance about one; chains repeat themselves, hence the wide margin.
    noise = DISTINCT * math.sqrt(2 * failures.shape[1] / len(failures))
    # Never narrower than the standard one: beyond a narrow fit lie rare draws of enormous weight.
    spread = np.sqrt(np.where(variances > 1 + noise, variances, 1.0))
    weights, mean, variation = np.empty(0), 0.0, math.inf
    while weights.size < samples and variation > close:
        draws = random.standard_normal((min(AT_ONCE, samples - weights.size), failures.shape[1]))
        points = centre + (draws * spread) @ directions.T
        log_weight = (np.sum(draws**2, axis=1) - np.sum(points**2, axis=1)) / 2 + np.log(spread).sum()
        failing = failing_is_lowest(margin_of(points)) < 0
        weights = np.concatenate([weights, np.where(failing, np.exp(log_weight), 0.0)])
        mean = float(weights.mean())
        if mean > 0:
            variation = float(np.std(weights, ddof=1)) / math.sqrt(weights.size) / mean
    return mean, variation, weights.size


def _combined(
    subset: float,
    subset_variation: float,
    weighted: float,
    weighted_variation: float,
    walks: int,
) -> RareFailure:
    """Take the surer of two estimates that agree, or the higher of two that do not."""
    apart = abs(subset - weighted)
    joint = math.hypot(subset * subset_variation, weighted * weighted_variation if weighted else 0.0)
    agree = weighted > 0 and apart <= float(stdtrit(walks - 1, (1 + APART) / 2)) * joint
    takes_weighted = weighted_variation <= subset_variation if agree else weighted > subset
    probability, variation = (weighted, weighted_variation) if takes_weighted else (subset, subset_variation)
    level = (1 + CONFIDENCE) / 2
    factor = float(ndtri(level) if takes_weighted else stdtrit(walks - 1, level))
    stretch = math.exp(factor * math.sqrt(math.log1p(variation**2)))
    note = "" if agree else "the two methods disagree: the higher is given; take it as an order of magnitude"
    if agree and variation > 0.3:
        note = f"known only to about {percent(variation, 2)}: draw more cars"
    return RareFailure(
        probability=probability,
        low=probability / stretch,
        high=min(1.0, probability * stretch),
        variation=variation,
        method=IMPORTANCE if takes_weighted else SUBSET,
        subset=subset,
        subset_variation=subset_variation,
        weighted=weighted,
        weighted_variation=weighted_variation,
        agree=agree,
        evaluations=0,
        note=note,
        distance=math.inf,
    )


def _none_found(reached: float, least: float, plain: int, evaluations: int) -> RareFailure:
    """No walk reached a failure: say how far they came, or what their first, plain samples bound."""
    stuck = reached > least * 1.001
    bound = binomial_interval(0, plain)[1] if stuck else reached
    note = (
        "the walk towards failure stopped: the margin is the same over a whole region (a capped or counted "
        f"quantity), so that no direction leads on; {plain} plain samples without a failure bound it"
        if stuck
        else f"no failure found down to about 1 car in {about(1 / bound)}"
    )
    return RareFailure(
        probability=0.0,
        low=0.0,
        high=bound,
        variation=math.inf,
        method=SUBSET,
        subset=0.0,
        subset_variation=math.inf,
        weighted=0.0,
        weighted_variation=math.inf,
        agree=True,
        evaluations=evaluations,
        note=note,
        distance=math.inf,
    )
