"""From a fit to the lines of a study file, and how far the fit lies from what the study believed."""

from __future__ import annotations

import json
import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from scipy.special import chdtrc

from explorer.errors import SampleError
from explorer.graph.words import in_unit
from explorer.logs.fitting.fit import Fit

# Smaller correlations change no verdict, and a study is easier to read without them (common practice).
LEAST_CORRELATION = 0.02
# Estimates of quantities that nothing else ties together have correlations below 1; the study needs that too.
MOST_CORRELATION = 0.9999
# Further apart than this many standard uncertainties, log and study contradict each other (common practice).
CONTRADICTION = 3.0


def input_block(
    fit: Fit,
    *,
    only: Sequence[str] | None = None,
    limits: Mapping[str, tuple[float | None, float | None]] | None = None,
) -> str:
    """Write the TOML text that a study includes: ``[inputs]`` and ``[[correlations]]``.

    A standard uncertainty from few rows is widened to the standard deviation of its Student t distribution
    (JCGM 101 6.4.9).

    Parameters
    ----------
    fit:
        Estimates to hand over.
    only:
        Names to write; all when None.
    limits:
        Name -> lowest and highest physically possible value, at which the distribution is cut off.

    Raises
    ------
    SampleError
        When the fit should not be used, or an estimate has too few degrees of freedom for a spread.
    """
    fit.require()
    names = [name for name in fit.names if only is None or name in only]
    head = f"{fit.kind}: {fit.source}" if fit.source else fit.kind
    lines = [_one_line(f"# {line}") for line in (head, *map(in_unit, fit.notes))]
    lines += ["[inputs]", *(_entry(fit, name, (limits or {}).get(name, (None, None))) for name in names)]
    lines += _correlations(fit, names)
    return "\n".join(lines) + "\n"


def spread_of(fit: Fit, name: str) -> float:
    """Return the standard deviation to hand over: widened for few degrees of freedom.

    Raises
    ------
    SampleError
        With two degrees of freedom or fewer, where the Student t distribution has no standard deviation, or
        with readings that never differ.
    """
    place = fit.names.index(name)
    freedom = float(fit.degrees_of_freedom[place])
    if freedom <= 2:
        raise SampleError(
            f"too few rows to say how well {name} is known",
            file=", ".join(source.file for source in fit.sources) or None,
            key=name,
            found=f"{fit.words()}, with {freedom:.3g} degrees of freedom",
            allowed="more than 2",
            remedy="take at least three more readings",
        )
    if not fit.standard_uncertainties[place] > 0:
        raise SampleError(
            f"{name} comes out without any spread",
            file=", ".join(source.file for source in fit.sources) or None,
            key=name,
            found=fit.words(),
            allowed="a standard uncertainty above zero",
            remedy="say how finely the instrument reads (its resolution)",
        )
    widened = 1.0 if math.isinf(freedom) else math.sqrt(freedom / (freedom - 2))
    return float(fit.standard_uncertainties[place]) * widened


def _entry(fit: Fit, name: str, limits: tuple[float | None, float | None]) -> str:
    place = fit.names.index(name)
    keys = [f"mean = {_number(fit.estimates[place])}", f"sd = {_number(spread_of(fit, name))}"]
    keys += [
        f"{key} = {_number(value)}"
        for key, value in zip(("low", "high"), limits, strict=True)
        if value is not None
    ]
    keys += [f"unit = {_text(fit.units[place])}", f"source = {_text(fit.source or fit.kind)}"]
    return f"{name} = {{ {', '.join(keys)} }}"


def _correlations(fit: Fit, names: Sequence[str]) -> Iterator[str]:
    for i, first in enumerate(names):
        for second in names[i + 1 :]:
            value = float(fit.correlation[fit.names.index(first), fit.names.index(second)])
            if abs(value) >= LEAST_CORRELATION:
                yield correlation_entry(first, second, value, correlation_source(fit))


def correlation_source(fit: Fit) -> str:
    """Say where a correlation comes from; several logs stand with the inputs already."""
    if len(fit.sources) > 1:
        return f"{fit.kind}, {len(fit.sources)} logs as given with the inputs"
    return fit.source or fit.kind


def correlation_entry(first: str, second: str, value: float, source: str) -> str:
    """Write one ``[[correlations]]`` entry, the value held below 1."""
    held = max(-MOST_CORRELATION, min(MOST_CORRELATION, value))
    return "\n".join(
        [
            "",
            "[[correlations]]",
            f"between = [{_text(first)}, {_text(second)}]",
            f"value = {held:.4f}",
            f"source = {_text(source)}",
        ]
    )


def _number(value: float) -> str:
    text = f"{float(value):.9g}"
    return text if any(mark in text for mark in ".en") else f"{text}.0"


def _text(value: str) -> str:
    # Of printable characters, a JSON string is a TOML basic string.
    return json.dumps(_one_line(value), ensure_ascii=False)


def _one_line(text: str) -> str:
    """Return the text without what could end a line: dates, names and notes come from files of others."""
    return "".join(character if character.isprintable() else " " for character in text)


@dataclass(frozen=True)
class Contradiction:
    """How far a log lies from what the study believed before.

    Attributes
    ----------
    distances:
        Quantity -> distance in combined standard uncertainties, positive when the log's value is higher.
    chi_squared, p_value:
        Over all quantities together, correlations of the log counted in; the chance of as much by accident.
    contradicts:
        True when some distance is beyond what accident explains.
    """

    distances: Mapping[str, float]
    chi_squared: float
    p_value: float
    contradicts: bool


def contradiction(fit: Fit, believed: Mapping[str, tuple[float, float]]) -> Contradiction:
    """Compare a fit with what the study believed.

    Source: normalised deviation of two independent estimates, ISO 13528 (zeta score); chi squared of the
    differences with the covariances added.

    Parameters
    ----------
    fit:
        The new estimates.
    believed:
        Quantity -> mean and standard deviation before the log; others of the fit are not compared.

    Raises
    ------
    SampleError
        When the study believed nothing about any quantity of the fit.
    """
    names = [name for name in fit.names if name in believed]
    if not names:
        raise SampleError(
            "the study says nothing about any quantity of this fit",
            found=", ".join(fit.names),
            allowed=", ".join(believed) or "inputs of the study",
            remedy="check the names",
        )
    places = [fit.names.index(name) for name in names]
    before = np.array([believed[name] for name in names])
    difference = fit.estimates[places] - before[:, 0]
    covariance = fit.covariance[np.ix_(places, places)] + np.diag(before[:, 1] ** 2)
    distances = difference / np.sqrt(np.diag(covariance))
    chi_squared = float(difference @ np.linalg.solve(covariance, difference))
    p_value = float(chdtrc(len(names), chi_squared))
    far = np.abs(distances) > CONTRADICTION
    # Each quantity may look believable while all together do not: 0.0027 is the same three sigmas.
    contradicts = bool(far.any()) or p_value < 0.0027
    return Contradiction(
        dict(zip(names, (float(d) for d in distances), strict=True)),
        chi_squared,
        p_value,
        contradicts,
    )
