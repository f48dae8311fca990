"""A row a limit: its verdict, what is asked, what was before, what drives it and what to measure first."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from explorer.analyses.live_leads import Lead
from explorer.analyses.live_verdicts import JudgedSoFar
from explorer.estimators.conformance import Conformance, Verdict
from explorer.estimators.two_levels import Sureness
from explorer.graph.labels import label
from explorer.graph.quantity import asked_name
from explorer.graph.words import Number
from explorer.graph.written import System, chance, percent
from explorer.study.car_parts import part_of
from explorer.study.limits import Limit
from explorer.study.study import Input, Study
from explorer.study.throttle import throttle_words, with_throttle
from reports.blocks import SIGNS
from reports.findings import in_both_words
from reports.formatting import Units, amount, count, hours, share, share_range
from reports.sections.measuring import what_it_does_beside

WIDTH, HEIGHT = 200.0, 22.0
# What is asked stands at three quarters of every row: right of it the cars hold often enough.
_ASKED_AT = 0.75
UNITS: System = "as given"


@dataclass(frozen=True)
class DeskRow:
    """One limit as the page shows it; lengths are pixels of its bar."""

    name: str
    safety: bool
    asked: str
    verdict: str = ""
    sign: str = "…"
    share: str = ""
    cars: str = ""
    interval: str = ""
    before: str = ""
    left: float = 0.0
    width: float = 0.0
    ghost: float | None = None
    beyond: bool = False
    surely: str = ""
    lead: LeadShown | None = None


@dataclass(frozen=True)
class LeadShown:
    """What drives a limit, each with its address and share, and what to measure first, in words.

    ``stale`` says that it belongs to the study before the last change.
    """

    drivers: tuple[tuple[str, str, str], ...]
    measure: str
    stale: bool


def rows(
    study: Study,
    standing: JudgedSoFar | None,
    before: Mapping[str, Conformance],
    leads: Mapping[str, tuple[int, Lead]],
    turn: int,
) -> tuple[DeskRow, ...]:
    """Write a row for every limit; without a standing they are blank."""
    judged: Sequence[Conformance | None] = (
        (None,) * len(study.limits) if standing is None else standing.verdicts.limits
    )
    if len(judged) != len(study.limits):  # of the study as it was before a limit came or went
        judged = (None,) * len(study.limits)
    surely, cars = ({}, 0) if standing is None else (standing.sureness, standing.cars)
    pairs = zip(study.limits, judged, strict=True)
    given = {one.key: one for one in study.all_inputs()}
    return tuple(
        replace(
            _row(study, limit, found, cars, before.get(limit.name), surely.get(limit.name)),
            lead=_lead(study, given, turn, *leads[limit.name], verdict=found.verdict)
            if limit.name in leads and found is not None
            else None,
        )
        for limit, found in pairs
    )


def place_of(given: Input) -> tuple[str, ...]:
    """Return where an input stands in the study."""
    if given.condition:
        return ("conditions", given.condition, given.quantity)
    return ("inputs", given.quantity)


def name_of(study: Study, given: Input) -> str:
    """Name an input as its form does."""
    name = label(given.quantity)
    return (
        f"{name}, {study.conditions[given.condition].words or given.condition}" if given.condition else name
    )


def _lead(
    study: Study,
    given: Mapping[str, Input],
    turn: int,
    of: int,
    lead: Lead,
    *,
    verdict: Verdict,
) -> LeadShown:
    drivers = [
        (
            name_of(study, given[key]),
            f"?at={part_of(given[key].quantity)}#input-{'.'.join(place_of(given[key]))}",
            chance(estimate.value),
        )
        for key, estimate in lead.drivers
        if key in given
    ]
    measure = (
        "no measurement listed would help by an amount that shows"
        if lead.weighed and verdict != "pass"
        else ""
    )
    if (worth := lead.measure) is not None:
        measure = f"measure first the {lead.label}, which takes {hours(worth.hours)}"
        # Weighed on fewer cars than the verdict beside it: of what these tell otherwise nothing is said.
        if verdict == "undecided" or (verdict == "pass") is (worth.before.passes.value == 1):
            measure = f"{measure} and {what_it_does_beside(worth.before, worth.after)}"
    return LeadShown(tuple(drivers), measure, of != turn)


def _row(
    study: Study,
    limit: Limit,
    found: Conformance | None,
    cars: int,
    before: Conformance | None,
    sure: Sureness | None,
) -> DeskRow:
    of = "cars" if limit.sure is None else f"runs, {percent(limit.sure)} sure"
    driven = throttle_words(study, limit.output)
    asked = f"{_asked(study, limit)}, in {percent(limit.probability)} of {of}"
    asked = asked if driven in limit.name else with_throttle(asked, driven)
    if found is None:
        return DeskRow(limit.name, limit.safety, asked)
    left, right = _at(found.low, limit), _at(found.high, limit)
    return DeskRow(
        name=limit.name,
        safety=limit.safety,
        asked=asked,
        verdict=found.verdict,
        sign=SIGNS[found.verdict],
        share=share(found.probability, found.low, found.high),
        cars=count(found.trials) if found.trials < cars else "",
        interval=share_range(found.low, found.high),
        before=""
        if before is None
        else f"{before.verdict}, {share(before.probability, before.low, before.high)}",
        left=left,
        width=max(right - left, 3.0),
        ghost=None if before is None else _at(before.probability, limit),
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
    of, difference = Units(unit, limit.display_unit), limit.output.is_difference
    # A number without a unit says nothing by itself.
    return f"{label(asked_name(limit.output.quantity))} " * (unit == "1" and not difference) + "".join(
        amount(part.value, of, difference=part.distance or difference).text(UNITS)
        if isinstance(part, Number)
        else part
        for part in limit.asked.words
    )
