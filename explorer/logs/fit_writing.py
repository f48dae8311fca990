"""A fit goes back into its study: the block of inputs to include, and its record for the report beside it."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable, Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np

from explorer.errors import ResultsError, SampleError
from explorer.files.writing import told, write_whole
from explorer.graph.units import spread_to_si, to_si
from explorer.logs.fit_records import WrittenFit, fit_record
from explorer.logs.fits import Fitted
from explorer.logs.fitting.fit import Fit
from explorer.logs.fitting.input_block import correlation_entry, correlation_source, input_block, spread_of
from explorer.logs.shared_errors import held_together
from explorer.results.json import json_text
from explorer.study.distributions import Normal
from explorer.study.study import Study

# How what a fit writes is told from files of others.
_HEAD = "# Written by 'squatline fit'"
_WRITTEN: dict[str, Callable[[str], bool]] = {
    ".toml": lambda text: text.startswith(_HEAD),
    ".json": lambda text: '"block_sha256": ' in text,
}
# A tail beyond what is physically possible is cut off when it is larger than this.
CUT_TAIL = 1e-6


def write_fit(fitted: Fitted) -> Path:
    """Write a fit as inputs beside its study, whole or not at all.

    Returns
    -------
    Path
        The file; a JSON file of the same name beside it holds residuals and notes for the report.

    Raises
    ------
    SampleError
        When the fit should not be used, or found nothing that the study could be given.
    ResultsError
        When the file cannot be written, lies outside the study, or is none that a fit has written.
    """
    text = block_of(fitted)
    record = WrittenFit(fit_record(fitted), hashlib.sha256(text.encode()).hexdigest())
    beside = fitted.path.with_suffix(".json")
    for file in (beside, fitted.path):
        _require_ours(file, fitted.study)
    with told("the fit cannot be written", fitted.path):
        fitted.path.parent.mkdir(parents=True, exist_ok=True)
    write_whole(beside, json_text(record))
    write_whole(fitted.path, text)
    return fitted.path


def _require_ours(file: Path, study: Study) -> None:
    """Refuse to write outside the study, over a link, or over what no fit has written."""
    if not file.resolve().is_relative_to(study.folder.resolve()) or file.is_symlink():
        raise ResultsError(
            "a fit is written into the folder of its study, and a link leads away from there",
            file=str(file),
            found=str(file.resolve()),
            remedy="remove the link",
        )
    with told("the fit cannot be written", file):
        if file.exists() and not _WRITTEN[file.suffix](file.read_text(encoding="utf-8", errors="replace")):
            raise ResultsError(
                "a file that no fit has written stands where this one goes",
                file=str(file),
                remedy="move it away, or give the fit another name",
            )


def block_of(fitted: Fitted) -> str:
    """Return the TOML text that the study includes, in the units that it uses itself.

    Raises
    ------
    SampleError
        When the fit should not be used, or found nothing that the study could be given.
    """
    fitted.result.require()
    if not fitted.inputs:
        raise SampleError(
            "nothing that this fit found is an input of the study",
            key=f"fits.{fitted.name}",
            found=", ".join(fitted.result.names),
            remedy="compare it with the study's own value, or try --update",
        )
    fit, shared = held_together(fitted.result, fitted.inputs, fitted.shared, fitted.study)
    head = [
        f"{_HEAD} for [fits.{fitted.name}] of the study; do not edit, write it again.",
        f'# The study takes it up with: include = ["{fitted.file}"]',
    ]
    block = input_block(
        _in_own_units(fit, fitted.study),
        only=fitted.inputs,
        limits={name: _cut_off(fit, name, fitted.study) for name in fitted.inputs},
    )
    pairs = [
        correlation_entry(one.estimate, one.input, one.value, correlation_source(fit))
        for one in shared
        if one.estimate in fitted.inputs
    ]
    return "\n".join([*head, block.rstrip("\n"), *pairs]) + "\n"


def line_to_add(fitted: Sequence[Fitted]) -> str | None:
    """Return the line by which the study takes up these files, or None when it includes them already."""
    fresh = [one.file for one in fitted if not one.included]
    if not fresh:
        return None
    return f"include = {json.dumps(list(dict.fromkeys([*fitted[0].present, *fresh])))}"


def _in_own_units(fit: Fit, study: Study) -> Fit:
    """Return the fit in the units the study uses."""
    units = tuple(_own_unit(study, name, si) for name, si in zip(fit.names, fit.units, strict=True))
    sizes = [float(spread_to_si(1.0, own, si)) for own, si in zip(units, fit.units, strict=True)]
    scale = 1 / np.array(sizes)
    covariance = fit.covariance * np.outer(scale, scale)
    return replace(fit, units=units, estimates=fit.estimates * scale, covariance=covariance)


def _own_unit(study: Study, name: str, si: str) -> str:
    """Return the unit the study shows a quantity in; SI where that unit has a zero of its own."""
    own = study.unit_of(name) if name in study.graph else si
    return own if own == si or to_si(0.0, own, si) == 0 else si


def _cut_off(fit: Fit, name: str, study: Study) -> tuple[float | None, float | None]:
    """Return the physical bounds that the distribution of an estimate would cross, in the study's unit."""
    quantity, spread = study.graph[name], Normal(fit.value(name), spread_of(fit, name))
    factor = float(spread_to_si(1.0, _own_unit(study, name, quantity.unit), quantity.unit))
    low = max((bound for bound in (quantity.above, quantity.at_least) if bound is not None), default=-np.inf)
    high = np.inf if quantity.at_most is None else quantity.at_most
    below, beyond = float(spread.cdf(low)), 1 - float(spread.cdf(high))
    return low / factor if below > CUT_TAIL else None, high / factor if beyond > CUT_TAIL else None
