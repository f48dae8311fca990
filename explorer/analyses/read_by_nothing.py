"""What a study gives though nothing that it asks for hangs on it: its author may count on it all the same."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from explorer.graph.quantity import ON_WHEELS
from explorer.study.asked_for import wanted_in
from explorer.study.study import Study

# They say which state a condition is, whether or not what is asked for hangs on them.
_STATE = {"speed", "flap_opening"}
# Of what is common to all conditions only this, beside points under the car, looks as if it were minded.
_ROOM = {"fence_distance", "strip_length"}


def read_by_nothing(study: Study) -> Iterator[str]:
    """Yield a caution for each group of inputs that nothing reads, with what would read them.

    Told of are points under the car, strip and fence, and whatever a condition, a candidate or a design
    variable gives.  Limits, outputs, sweeps, objectives and logged runs read what they hang on.
    """
    graph, entries = study.graph, study.entries
    read = {where: _read_in(study, where) for where in study.conditions}
    anywhere = frozenset[str]().union(*read.values())
    for number, point in enumerate(graph.families.get("point", ())):
        if ("point", number) not in map(graph.member_of, anywhere):
            yield (
                f"families.point names {point}, but nothing that is asked for hangs on it; limit "
                f"{point}_clearance or list it under [[outputs]], with {point}_station and "
                f"{point}_clearance_at_rest under [inputs], or take {point} out"
            )
    common = {name for name in _ROOM - anywhere if name in study.inputs and not study.inputs[name].default}
    yield from _told(study, "", common)
    known = anywhere | common | {one for one in study.inputs if (graph.member_of(one) or ("",))[0] == "point"}
    for where, condition in study.conditions.items():
        own = [name for name, one in condition.overrides.items() if one.condition == where]
        yield from _told(study, f"conditions.{where}.", set(own) - _STATE - read[where])
    changes = {f"candidates.{name}.": one.overrides for name, one in entries.candidates.items()}
    for place, names in {**changes, "design.": entries.design}.items():
        members = [one for name in names for one in graph.of_family(name) or (name,)]
        yield from _told(study, place, {name for name in members if name in graph} - known)


def _read_in(study: Study, where: str) -> frozenset[str]:
    """Return all that what is asked for in a condition hangs on."""
    entries = study.entries
    swept = [sweep for sweep in study.sweeps if where in sweep.conditions]
    asked = wanted_in(study, where)
    asked += [name for sweep in swept for name in sweep.quantities]
    asked += [one.quantity for one in entries.logged_runs.values() if one.condition == where]
    asked += [
        one.quantity for one in entries.objectives if one.quantity and where in (one.condition, one.minus)
    ]
    known = [name for name in asked if name in study.graph]
    return study.graph.upstream(known, study.given_names(where)).union(sweep.along for sweep in swept)


def _told(study: Study, place: str, names: Iterable[str]) -> Iterator[str]:
    """Tell of inputs, those together that the same quantity would read."""
    together: dict[str, list[str]] = {}
    for name in sorted(names):
        together.setdefault(_reader(study, name), []).append(f"{place}{name}")
    where = " there" if place.startswith("conditions") else ""
    for reader, unread in together.items():
        are, them = ("are", "them") if len(unread) > 1 else ("is", "it")
        ask = f"limit {reader} or list it under [[outputs]], or " if reader else ""
        yield (
            f"{' and '.join(unread)} {are} given, but nothing that is asked for{where} hangs on {them}; "
            f"{ask}take {them} out"
        )


def _reader(study: Study, name: str) -> str:
    """Name a near quantity that hangs on an input and can be asked for; nothing where none can."""
    graph, given = study.graph, study.given_names(None) | _STATE
    found = {name}
    while near := {
        one.name
        for one in graph.quantities.values()
        if one.name not in found and ON_WHEELS not in one.name and not found.isdisjoint(one.needed_names)
    }:
        asked = [one for one in near if not graph[one].record and not graph.missing([one], given)]
        if asked:
            return min(asked, key=lambda one: (len(one), one))
        found |= near
    return ""
