"""Does the band that the study predicts explain a logged run, and if not, where.

The points of one run are not independent: an input that is off moves all of them together.  So a count of
points in the band is judged against what runs of the predicted kind do, not against independent throws.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np
from scipy.special import ndtri

from explorer.errors import SampleError
from explorer.graph.arrays import Array
from explorer.graph.written import chance
from explorer.logs.fitting.independence import repetition, without_dropouts
from explorer.logs.logger_scatter import LoggerScatter, logger_scatter
from explorer.results.logged_runs import Departure, RunJudged

SHARE = 0.9
# Its edge, in standard deviations.
EDGE = float(ndtri((1 + SHARE) / 2))
# Chance below which a run is not explained (common practice).
DOUBT = 0.01
FEWEST_ROWS = 5
FEWEST_CURVES = 100
# A band wider than this share of the predicted value agrees with almost anything (common practice).
WIDE = 0.5
# What some loggers count the other way.
SIGNED = ("pitch",)


@dataclass(frozen=True)
class Band:
    """What was predicted: edges and middle of a band along something, SI units.

    Attributes
    ----------
    at:
        Shape (points,), rising: speeds or times.
    lower, median, upper:
        Shape (points,): quantiles of the predicted quantity, as 5 %, 50 % and 95 %.
    quantity, along:
        What it is, for what is told of it.
    """

    at: Array
    lower: Array
    median: Array
    upper: Array
    quantity: str
    along: str = "speed"


@dataclass(frozen=True, kw_only=True)
class Validation(RunJudged):
    """The judgement in the units of the curves, and what it is of.

    Attributes
    ----------
    band, logged:
        At every row of the log, shape (rows,): what was predicted, without the logger's scatter, and the log.
    """

    band: Band
    logged: Array


@dataclass(frozen=True)
class _Compared:
    """Log and band at the same places: shape (rows,) each; the logger's scatter; rows left out."""

    band: Band
    logged: Array
    scatter: LoggerScatter
    outside_range: int

    def distances(self, values: Array) -> Array:
        """Distance from the predicted middle in predicted standard deviations, the logger's included."""
        band = self.band
        half = np.where(values >= band.median, band.upper - band.median, band.median - band.lower)
        spread = np.hypot(half / EDGE, self.scatter.deviation)
        return np.asarray((values - band.median) / np.maximum(spread, 1e-300))

    @property
    def distance(self) -> Array:
        """Distances of the log, shape (rows,)."""
        return self.distances(self.logged)

    @property
    def coverage(self) -> float:
        """Share of rows in the band."""
        return float(np.mean(np.abs(self.distance) <= EDGE))

    @property
    def effective_rows(self) -> float:
        """Independent rows, taken about the predicted middle: an offset counts as repeating itself."""
        rows = len(self.logged)
        return max(rows / repetition(self.distance, np.zeros(rows, int)), 1.0)


def validate_curves(
    at: Array,
    curves: Array,
    logged_at: Array,
    logged: Array,
    *,
    quantity: str,
    along: str = "speed",
    noise: float | None = None,
    seed: int = 1,
) -> Validation:
    """Lay predicted curves, one for each sample, over a logged run.

    Sharper than the band alone: each curve, with the logger's scatter, is treated as a run itself, and the
    logged run is ranked among them.  Scatter that successive rows repeat is drawn as such.

    Source: Monte Carlo test of Barnard; global envelope test, Myllymaki et al., J. Royal Statistical Society
    B 79 (2017) 381.

    Parameters
    ----------
    at, curves:
        Shapes (points,), rising, and (samples, points); samples without an answer hold NaN and are left out.
    logged_at, logged, noise:
        Shape (rows,), in the order logged; scatter of the logger, else found from what is left once
        the log follows the curves as well as it can (``explorer.logs.logger_scatter``).
    quantity, along:
        As in ``Band``.
    seed:
        For the scatter added to the curves.

    Raises
    ------
    SampleError
        With fewer than a hundred curves, or fewer than five rows where something was predicted.
    """
    answered = curves[np.isfinite(curves).all(axis=1)]
    if len(answered) < FEWEST_CURVES:
        raise SampleError(
            "too few predicted curves to judge a run by",
            key=quantity,
            found=f"{len(answered)} of {len(curves)} samples have an answer all along",
            allowed=f"at least {FEWEST_CURVES}",
            remedy="run more samples, or shorten the range",
        )
    edges = np.quantile(answered, [(1 - SHARE) / 2, 0.5, (1 + SHARE) / 2], axis=0)
    band = Band(at, edges[0], edges[1], edges[2], quantity, along)
    place, values = _overlapping(band, logged_at, logged)
    runs = np.stack([np.interp(place, at, curve) for curve in answered])
    scatter = logger_scatter(runs, values, deviation=noise)
    compared = _Compared(_brought(band, place), values, scatter, len(logged) - len(values))
    runs += compared.scatter.drawn(runs.shape, seed)
    own = _badness(compared.distance[None])
    others = _badness(compared.distances(runs))
    # Ranks among the runs of the predicted kind: by the furthest departure, and by the share outside.
    ranks = [1 + np.count_nonzero(of >= mine[0]) for mine, of in zip(own, others, strict=True)]
    low, high = np.quantile(1 - others[1], [0.025, 0.975])
    return _judged(compared, (float(low), float(high)), min(1.0, 2 * min(ranks) / (1 + len(runs))))


def _badness(distances: Array) -> tuple[Array, Array]:
    """Furthest departure, and share of rows outside, of each run: shape (runs,) each."""
    furthest = np.max(np.abs(without_dropouts(distances)), axis=1)
    return furthest, np.mean(np.abs(distances) > EDGE, axis=1)


def _overlapping(band: Band, logged_at: Array, logged: Array) -> tuple[Array, Array]:
    """Return places and values of the rows where something was predicted."""
    inside = (logged_at >= band.at[0]) & (logged_at <= band.at[-1]) & np.isfinite(logged)
    rows = int(np.count_nonzero(inside))
    if rows < FEWEST_ROWS:
        raise SampleError(
            "the log and the prediction hardly overlap",
            key=band.quantity,
            found=f"{rows} of {len(logged)} rows at {band.along} {band.at[0]:.4g} to {band.at[-1]:.4g}",
            allowed=f"at least {FEWEST_ROWS} rows",
            remedy="predict over the range of the log, and check the units of both",
        )
    return logged_at[inside], logged[inside]


def _brought(band: Band, place: Array) -> Band:
    """Bring the band to the rows of the log."""
    lower, median, upper = (np.interp(place, band.at, edge) for edge in (band.lower, band.median, band.upper))
    return replace(band, at=place, lower=lower, median=median, upper=upper)


def _judged(compared: _Compared, expected: tuple[float, float], chance: float) -> Validation:
    band = compared.band
    return Validation(
        rows=len(band.at),
        outside_range=compared.outside_range,
        share=SHARE,
        coverage=compared.coverage,
        expected_low=expected[0],
        expected_high=expected[1],
        effective_rows=compared.effective_rows,
        bias=float(np.mean(compared.logged - band.median)),
        bias_in_spreads=float(np.mean(compared.distance)),
        noise=compared.scatter.deviation,
        chance=float(chance),
        explains=bool(chance >= DOUBT),
        stretches=tuple(_stretches(compared)),
        notes=tuple(_notes(compared)),
        band=band,
        logged=compared.logged,
    )


def _stretches(compared: _Compared) -> Iterator[Departure]:
    """Give the stretches outside the band, longest first, single dropouts smoothed away."""
    band = compared.band
    order = np.argsort(band.at, kind="stable")
    at, smooth = band.at[order], without_dropouts(compared.distance[order])
    side = np.where(np.abs(smooth) > EDGE, np.sign(smooth), 0.0)
    pieces = np.split(np.arange(len(at)), np.flatnonzero(np.diff(side)) + 1)
    above, below = (compared.logged - band.upper)[order], (band.lower - compared.logged)[order]
    for piece in sorted((piece for piece in pieces if side[piece[0]]), key=len, reverse=True):
        high = side[piece[0]] > 0
        beyond = float(np.max((above if high else below)[piece]))
        yield Departure(float(at[piece[0]]), float(at[piece[-1]]), "above" if high else "below", beyond)


def _notes(compared: _Compared) -> Iterator[str]:
    band, effective = compared.band, compared.effective_rows
    if compared.outside_range:
        yield f"{compared.outside_range} rows were left out: nothing was predicted at their {band.along}"
    turned = float(np.mean(np.abs(compared.distances(-compared.logged)) <= EDGE))
    if band.quantity in SIGNED and compared.coverage < 0.5 <= turned:
        yield (
            f"with its sign turned round, {chance(turned)} of the log lies in the band: see which "
            f'way its {band.quantity} counts, and whether positive = "nose_down" belongs beside the column'
        )
    if effective < FEWEST_ROWS:
        yield f"the run is worth only {effective:.1f} independent points: agreement is weak evidence"
    if np.median(band.upper - band.lower) > WIDE * abs(float(np.median(band.median))):
        yield "the predicted band is wide: agreement says little, and better inputs would say more"
