"""``[today]``: what varies from run to run can be read on the day, in place of what any day may bring."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from explorer.errors import Faults, StudyError
from explorer.graph.graph import Graph
from explorer.study.day_to_day import day_of
from explorer.study.inputs import Input, read_inputs

if TYPE_CHECKING:
    from explorer.study.correlations import Correlation
    from explorer.study.study import Condition

READ_TODAY = "read on the day"


@dataclass(frozen=True)
class AnyDay:
    """What stands in the study for any other day.

    Attributes
    ----------
    inputs:
        Quantity -> what ``[inputs]`` or the model says of it.
    correlations:
        Those among what was read: two readings of one day no longer tell of each other.
    """

    inputs: Mapping[str, Input]
    correlations: tuple[Correlation, ...]


NO_DAY = AnyDay({}, ())


def read_today(
    entries: Mapping[str, Any],
    inputs: Mapping[str, Input],
    conditions: Mapping[str, Condition],
    correlations: Sequence[Correlation],
    graph: Graph,
    folder: Path,
    faults: Faults,
) -> tuple[dict[str, Input], AnyDay]:
    """Read what is given for the day, and what it stands in the place of; mistakes are noted as faults."""
    read: dict[str, Input] = {}
    for name, one in read_inputs(entries, graph, folder, "today", faults=faults).items():
        key = f"today.{name}"
        with faults.noted():
            before = inputs.get(name)
            if before is None or not (before.varies or day_of(name) in inputs):
                varying = [given.key for given in inputs.values() if given.varies and not given.default]
                raise StudyError(
                    "only what varies from run to run is another on the day",
                    key=key,
                    found=name,
                    allowed=", ".join(varying) or "an input that varies; this study gives none",
                    remedy="give it under [inputs], since it has one true value on every day"
                    if before is not None
                    else "give it under [inputs] first, with varies = true",
                )
            if conditions and all(name in condition.overrides for condition in conditions.values()):
                raise StudyError(
                    "every condition sets this quantity itself, so that of the day would never be used",
                    key=key,
                    found=name,
                    remedy="take it out of the conditions, or change it there",
                )
            entry = entries.get(name)
            said = isinstance(entry, Mapping) and "varies" in entry
            read[name] = replace(one, varies=one.varies if said else True, source=one.source or READ_TODAY)
    gone = tuple(one for one in correlations if one.first in read and one.second in read)
    for tie in correlations:
        with faults.noted():
            if tie not in gone and (tie.first in read or tie.second in read):
                there, lacking = sorted((tie.first, tie.second), key=lambda name: name not in read)
                raise StudyError(
                    "this goes together with another input, which is not given for the day",
                    key=f"today.{there}",
                    found=f"{there} alone, with a correlation of {tie.value:g} to {lacking}",
                    remedy=f"give {lacking} under [today] as well, or leave the correlation out",
                )
    return read, AnyDay({name: inputs[name] for name in read}, gone)
