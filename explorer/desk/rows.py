"""A row a limit: its verdict, how many cars hold it and how surely, what is asked, and what was before."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from explorer.analyses.live_verdicts import JudgedSoFar
from explorer.estimators.conformance import Conformance
from explorer.estimators.two_levels import Sureness
from explorer.graph.units import System
from explorer.graph.words import Number
from explorer.study.limits import Limit
from explorer.study.study import Study
from reports.blocks import SIGNS
from reports.findings import in_both_words
from reports.formatting import amount, percent, share, share_range

WIDTH, HEIGHT = 240.0, 22.0
# What is asked stands at three quarters of every row: right of it the cars hold often enough.
_ASKED_AT = 0.75
UNITS: System = "as given"


@dataclass(frozen=True)
class DeskRow:
    """One limit as the page shows it; lengths are pixels of its bar."""

    name: str
    safety: bool
    asked: str
    why: str
    verdict: str
    sign: str
    share: str
    interval: str
    before: str
    left: float
    width: float
    middle: float
    ghost: float | None
    beyond: bool
    surely: str = ""


def rows(study: Study, standing: JudgedSoFar | None, before: Mapping[str, float]) -> tuple[DeskRow, ...]:
    """Write a row for every limit; without a standing they are blank."""
    judged: Sequence[Conformance | None] = (
        (None,) * len(study.limits) if standing is None else standing.verdicts.limits
    )
    if len(judged) != len(study.limits):  # of the study as it was before a limit came or went
        judged = (None,) * len(study.limits)
    surely = {} if standing is None else standing.sureness
    pairs = zip(study.limits, judged, strict=True)
    return tuple(
        _row(study, limit, found, before.get(limit.name), surely.get(limit.name)) for limit, found in pairs
    )


def _row(
    study: Study, limit: Limit, found: Conformance | None, before: float | None, sure: Sureness | None
) -> DeskRow:
    of = "cars" if limit.sure is None else f"runs, {percent(limit.sure)} sure"
    asked = f"{_asked(study, limit)}, in {percent(limit.probability)} of {of}"
    if found is None:
        return DeskRow(limit.name, limit.safety, asked, limit.why, "", "…", "", "", "", 0, 0, 0, None, False)
    left, right = _at(found.low, limit), _at(found.high, limit)
    return DeskRow(
        name=limit.name,
        safety=limit.safety,
        asked=asked,
        why=limit.why,
        verdict=found.verdict,
        sign=SIGNS[found.verdict],
        share=share(found.probability, found.low, found.high),
        interval=share_range(found.low, found.high),
        before="" if before is None else share(before, found.low, found.high),
        left=left,
        width=max(right - left, 3.0),
        middle=_at(found.probability, limit),
        ghost=None if before is None else _at(before, limit),
        beyond=found.high < _leftmost(limit),
        surely="" if sure is None else in_both_words(sure),
    )


def _leftmost(limit: Limit) -> float:
    return max(1 - (1 - limit.probability) / (1 - _ASKED_AT), 0.0)


def _at(share_of_cars: float, limit: Limit) -> float:
    """Place a share of cars on the bar, whose right end is all of them."""
    asked, end = limit.probability, _leftmost(limit)
    if share_of_cars >= asked:
        along = _ASKED_AT + (1 - _ASKED_AT) * (share_of_cars - asked) / (1 - asked)
    else:
        along = _ASKED_AT * max(share_of_cars - end, 0.0) / (asked - end)
    return 4.0 + (WIDTH - 8.0) * along


def _asked(study: Study, limit: Limit) -> str:
    unit = study.graph[limit.output.quantity].unit
    difference = limit.output.is_difference
    return "".join(
        amount(part.value, unit, limit.display_unit, difference=part.distance or difference).text(UNITS)
        if isinstance(part, Number)
        else part
        for part in limit.asked.words
    )
