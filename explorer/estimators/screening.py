"""Which inputs need no further attention: a cheap first look, before a study with very many of them is run.

From a base sample, each input in turn is drawn anew while the rest stay (a radial design).  The mean change
says how much the output moves with it, in the output's own unit, and the mean square bounds its total index:
an input whose bound is small may be fixed at its nominal value.

Source: Campolongo, Saltelli & Cariboni, Computer Physics Communications 182 (2011) 978: the radial
elementary effects of Morris and the estimator of Jansen for the total index use the same rows.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.special import stdtrit

from explorer.errors import SampleError
from explorer.estimators.conformance import CONFIDENCE
from explorer.graph.arrays import Array

# Total index below which an input is not worth its place.
NEGLIGIBLE = 0.01
FEWEST_ROWS = 8


@dataclass(frozen=True)
class Screened:
    """One input of one output.

    Attributes
    ----------
    name:
        The input or group.
    change, change_error:
        Mean absolute change of the output when this input alone is drawn anew, in the output's unit, and its
        standard error.
    share, share_at_most:
        Total index, and the upper bound of its one-sided interval.
    matters:
        False when the bound shows that it may be fixed.
    """

    name: str
    change: float
    change_error: float
    share: float
    share_at_most: float
    matters: bool


@dataclass(frozen=True)
class Screening:
    """All inputs of one output, largest share first.

    Attributes
    ----------
    output:
        Its name.
    inputs:
        What was found for each.
    rows, left_out:
        Base rows used, and rows removed because one of their evaluations was not a finite number.
    note:
        What is out of the ordinary; empty otherwise.
    """

    output: str
    inputs: tuple[Screened, ...]
    rows: int
    left_out: int
    note: str


def screen_outputs(
    evaluations: Array,
    names: Sequence[str],
    outputs: Sequence[str],
    *,
    negligible: float = NEGLIGIBLE,
    confidence: float = CONFIDENCE,
) -> tuple[Screening, ...]:
    """Screen all inputs of every output.

    Parameters
    ----------
    evaluations:
        Shape (rows, blocks, outputs): the base sample, then for each input the rows with that one drawn
        anew.  Further blocks, as of the full design for Sobol indices, are not used.
    names, outputs:
        Inputs or groups in the order of the blocks, outputs in the order of the last axis.
    negligible, confidence:
        Total index below which an input does not matter, and confidence of its upper bound.

    Raises
    ------
    SampleError
        When there are too few rows, or fewer blocks than the inputs need.
    """
    if evaluations.shape[1] <= len(names) or evaluations.shape[2] != len(outputs):
        raise SampleError(
            "the evaluations do not fit the names",
            found=f"{evaluations.shape[1]} blocks, {evaluations.shape[2]} outputs",
            allowed=f"{len(names) + 1} blocks or more, {len(outputs)} outputs",
        )
    used = evaluations[:, : len(names) + 1]
    return tuple(
        _screen_one(output, used[..., k], names, negligible, confidence) for k, output in enumerate(outputs)
    )


def _screen_one(
    output: str, blocks: Array, names: Sequence[str], negligible: float, confidence: float
) -> Screening:
    """Screen one output from its evaluations, shape (rows, 1 + inputs)."""
    kept = blocks[np.isfinite(blocks).all(axis=1)]
    rows = len(kept)
    if rows < FEWEST_ROWS:
        raise SampleError(
            "too few rows with an answer to screen by",
            key=output,
            found=f"{rows} of {len(blocks)}",
            allowed=f"{FEWEST_ROWS} or more",
            remedy="draw more, or find out why the model has no answer",
        )
    change = np.abs(kept[:, 1:] - kept[:, :1])
    varies = change.max() > 64 * np.finfo(float).eps * np.abs(kept).max()
    squared = change**2 / 2
    # All blocks are samples of one distribution: together they give the variance.
    variance = float(np.var(kept)) if varies else math.inf
    share, change_mean = squared.mean(axis=0) / variance, change.mean(axis=0)
    factor = float(stdtrit(rows - 1, confidence))
    at_most = share + factor * np.std(squared, axis=0, ddof=1) / math.sqrt(rows) / variance
    error = np.std(change, axis=0, ddof=1) / math.sqrt(rows)
    found = [
        Screened(
            name=name,
            change=float(change_mean[j]),
            change_error=float(error[j]),
            share=float(share[j]),
            share_at_most=float(at_most[j]),
            matters=bool(at_most[j] >= negligible),
        )
        for j, name in enumerate(names)
    ]
    left_out = len(blocks) - rows
    said = [] if varies else ["does not vary: no input matters within the given uncertainty"]
    if left_out:
        said.append(f"{left_out} rows without an answer were left out")
    return Screening(
        output, tuple(sorted(found, key=lambda one: -one.share)), rows, left_out, "; ".join(said)
    )
