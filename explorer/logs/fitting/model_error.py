"""How far a model is from logged runs: a factor on it or an offset beyond it, and how surely."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from explorer.graph.arrays import Array

# A run is cut into so many stretches, to see whether the error is the same all along (judgement).
STRETCHES = 5
# A factor nearer to zero than so many of its spreads is no factor.
FROM_ZERO = 4.0


@dataclass(frozen=True)
class Discrepancy:
    """How a log lies to predicted curves, stretch by stretch along it.

    Attributes
    ----------
    products, squares:
        Shape (curves, stretches): sums over rows of predicted times logged, and of predicted squared.
    sums, rows:
        Shapes (curves, stretches) and (stretches,): sums of logged minus predicted, and the rows.
    """

    products: Array
    squares: Array
    sums: Array
    rows: Array

    @classmethod
    def of(cls, at: Array, curves: Array, where: Array, logged: Array) -> Discrepancy:
        """Take the departure of a log from curves at rising places; the middle curve is put in front.

        Curves have shape (curves, places), where and logged (rows,); rows beyond the places are left out.
        """
        inside = (where >= at[0]) & (where <= at[-1]) & np.isfinite(logged)
        order = np.argsort(where[inside], kind="stable")
        places, values = where[inside][order], logged[inside][order]
        every = np.vstack([np.nanmedian(curves, axis=0), curves])
        runs = np.stack([np.interp(places, at, curve) for curve in every])
        cuts = np.linspace(0, len(values), STRETCHES + 1).astype(int)[:-1]
        products, squares, sums = (
            np.add.reduceat(one, cuts, axis=1) for one in (runs * values, runs**2, values - runs)
        )
        return cls(products, squares, sums, np.diff([*cuts, len(values)]).astype(float))


@dataclass(frozen=True)
class ModelError:
    """What to put on a computed quantity, in the unit of the logs where it is an offset.

    Attributes
    ----------
    kind, mean, sd:
        Factor or offset, its best value and its standard deviation.
    from_inputs, along:
        Parts of the standard deviation: what the inputs leave open, and how the error differs from stretch to
        stretch and from run to run.
    stretches:
        How many there were.
    """

    kind: Literal["factor", "offset"]
    mean: float
    sd: float
    from_inputs: float
    along: float
    stretches: int


def model_error(runs: Sequence[Discrepancy]) -> ModelError:
    """Estimate the error of a model from its departures, their curves being of the same cars throughout.

    For each car the error that fits best, by least squares: their mean and spread are what the logs say when
    the inputs are as the study believes.  To it comes how the error of the middle curve differs from stretch
    to stretch, once for the mean of all and once for the next run.  Used beside the inputs it holds their
    doubt a second time, which is on the safe side.

    Source: regression through the origin; prediction interval of a mean (any book on statistics).
    """
    products, squares, sums = (
        np.hstack([getattr(run, name) for run in runs]) for name in ("products", "squares", "sums")
    )
    rows = np.broadcast_to(np.concatenate([run.rows for run in runs]), sums.shape)
    factor, offset = _fitted(products, squares), _fitted(sums, rows)
    # What each leaves over the middle curve, in squares of the logs' unit: the one that leaves less is meant.
    left = [float(np.sum(weight[0] * (value[0] - mean[0]) ** 2)) for value, mean, weight in (factor, offset)]
    kinds = {"factor": factor, "offset": offset}
    estimates = {kind: _summed(kind, *found) for kind, found in kinds.items()}  # type: ignore[arg-type]
    is_factor = left[0] <= left[1] and estimates["factor"].mean > FROM_ZERO * estimates["factor"].sd
    return estimates["factor" if is_factor else "offset"]


def _fitted(products: Array, squares: Array) -> tuple[Array, Array, Array]:
    """Return the error of each stretch, that of all of them for each curve, and the weights."""
    whole = np.sum(products, axis=1) / np.sum(squares, axis=1)
    return products / squares, whole, squares


def _summed(kind: Literal["factor", "offset"], local: Array, whole: Array, weight: Array) -> ModelError:
    cars = whole[1:][np.isfinite(whole[1:])]
    count = local.shape[1]
    spread = np.sum(weight[0] * (local[0] - whole[0]) ** 2) / np.sum(weight[0])
    along = float(np.sqrt(spread * (1 + 1 / count) * count / (count - 1)))
    from_inputs = float(np.std(cars, ddof=1))
    return ModelError(
        kind, float(np.mean(cars)), float(np.hypot(from_inputs, along)), from_inputs, along, count
    )
