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
from explorer.logs.fitting.independence import repetition, without_dropouts
from explorer.logs.logger_scatter import LoggerScatter, logger_scatter
from explorer.results.logged_runs import Departure

SHARE = 0.9
# Chance below which a run is not explained (common practice).
DOUBT = 0.01
FEWEST_ROWS = 5
FEWEST_CURVES = 100
# A band wider than this share of the predicted value agrees with almost anything (common practice).
WIDE = 0.5


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
    share:
        Probability between the edges.
    """

    at: Array
    lower: Array
    median: Array
    upper: Array
    quantity: str
    along: str = "speed"
    share: float = SHARE


@dataclass(frozen=True)
class Validation:
    """How a logged run lies in the predicted band, in the units of the curves.

    Attributes
    ----------
    quantity, along:
        What was predicted and logged, and what it is plotted against.
    rows, outside_range:
        Rows compared, and rows left out because nothing was predicted there.
    share, coverage:
        Probability of the band, and the share of rows that lie in it.
    expected_low, expected_high:
        Between these the coverage of a run of the predicted kind lies, with 95 % probability.
    effective_rows:
        How many independent rows the run is worth.
    bias, bias_in_spreads:
        Mean of logged minus predicted median, and the same in predicted standard deviations.
    noise:
        Scatter of the logger that was added to the band.
    chance:
        How often a run of the predicted kind would lie as badly as this one.
    explains:
        The verdict.
    stretches:
        Where the run leaves the band.
    notes:
        What weakens it, in words that hold no unit.
    at, logged, lower, median, upper:
        Shape (rows,), for plotting; the band without the logger's scatter.
    """

    quantity: str
    along: str
    rows: int
    outside_range: int
    share: float
    coverage: float
    expected_low: float
    expected_high: float
    effective_rows: float
    bias: float
    bias_in_spreads: float
    noise: float
    chance: float
    explains: bool
    stretches: tuple[Departure, ...]
    notes: tuple[str, ...]
    at: Array
    logged: Array
    lower: Array
    median: Array
    upper: Array


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
        spread = np.hypot(half / _edge(band.share), self.scatter.deviation)
        return np.asarray((values - band.median) / np.maximum(spread, 1e-300))

    @property
    def distance(self) -> Array:
        """Distances of the log, shape (rows,)."""
        return self.distances(self.logged)

    @property
    def coverage(self) -> float:
        """Share of rows in the band."""
        return float(np.mean(np.abs(self.distance) <= _edge(self.band.share)))

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
    share: float = SHARE,
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
    quantity, along, share:
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
    edges = np.quantile(answered, [(1 - share) / 2, 0.5, (1 + share) / 2], axis=0)
    band = Band(at, edges[0], edges[1], edges[2], quantity, along, share)
    place, values = _overlapping(band, logged_at, logged)
    runs = np.stack([np.interp(place, at, curve) for curve in answered])
    scatter = logger_scatter(runs, values, deviation=noise)
    compared = _Compared(_brought(band, place), values, scatter, len(logged) - len(values))
    runs += compared.scatter.drawn(runs.shape, seed)
    own = _badness(compared.distance[None], share)
    others = _badness(compared.distances(runs), share)
    # Ranks among the runs of the predicted kind: by the furthest departure, and by the share outside.
    ranks = [1 + np.count_nonzero(of >= mine[0]) for mine, of in zip(own, others, strict=True)]
    low, high = np.quantile(1 - others[1], [0.025, 0.975])
    return _judged(compared, (float(low), float(high)), min(1.0, 2 * min(ranks) / (1 + len(runs))))


def _badness(distances: Array, share: float) -> tuple[Array, Array]:
    """Furthest departure, and share of rows outside, of each run: shape (runs,) each."""
    furthest = np.max(np.abs(without_dropouts(distances)), axis=1)
    return furthest, np.mean(np.abs(distances) > _edge(share), axis=1)


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


def _edge(share: float) -> float:
    """Edge of the band, in standard deviations."""
    return float(ndtri((1 + share) / 2))


def _judged(compared: _Compared, expected: tuple[float, float], chance: float) -> Validation:
    band = compared.band
    return Validation(
        quantity=band.quantity,
        along=band.along,
        rows=len(band.at),
        outside_range=compared.outside_range,
        share=band.share,
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
        at=band.at,
        logged=compared.logged,
        lower=band.lower,
        median=band.median,
        upper=band.upper,
    )


def _stretches(compared: _Compared) -> Iterator[Departure]:
    """Give the stretches outside the band, longest first, single dropouts smoothed away."""
    band = compared.band
    order = np.argsort(band.at, kind="stable")
    at, smooth = band.at[order], without_dropouts(compared.distance[order])
    side = np.where(np.abs(smooth) > _edge(band.share), np.sign(smooth), 0.0)
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
    if effective < FEWEST_ROWS:
        yield f"the run is worth only {effective:.1f} independent points: agreement is weak evidence"
    if np.median(band.upper - band.lower) > WIDE * abs(float(np.median(band.median))):
        yield "the predicted band is wide: agreement says little, and better inputs would say more"
