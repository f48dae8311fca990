"""How the uncertain inputs of a study can be measured: as it lists, and as the catalogue knows."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass, replace
from typing import Any

from explorer.analyses.measurements import measurement_from
from explorer.analyses.sensitivity import keys_upstream
from explorer.errors import Faults, SquatlineError, StudyError, did_you_mean
from explorer.estimators.measuring import Measurement
from explorer.graph.labels import label
from explorer.study.catalogue import catalogue
from explorer.study.study import Study


@dataclass(frozen=True)
class WaysToMeasure:
    """What can be weighed for a study.

    Attributes
    ----------
    measurements:
        Those that the study lists, in its order, then those of the catalogue.
    from_catalogue:
        Labels of the latter by name.
    unread:
        Keys of the uncertain inputs that could be learnt, that a limit hangs on and that none of them reads.
    cautions:
        What is said of those listed that read nothing any limit hangs on.
    """

    measurements: tuple[Measurement, ...]
    from_catalogue: Mapping[str, str]
    unread: tuple[str, ...]
    cautions: tuple[str, ...]

    def of_inputs(self, keys: Collection[str]) -> WaysToMeasure:
        """Return those that read some of these inputs, and of their readings only these."""
        reads = ({key: how for key, how in one.reads.items() if key in keys} for one in self.measurements)
        kept = zip(self.measurements, reads, strict=True)
        return replace(self, measurements=tuple(replace(one, reads=some) for one, some in kept if some))


def ways_to_measure(study: Study) -> WaysToMeasure:
    """Read the measurements of a study, with the catalogue's where it lists none or asks for them.

    Raises
    ------
    StudyError
        For each that reads an input the study does not give, or gives exactly.
    """
    listed = _listed(study)
    wanted = study.entries.measuring.catalogue
    matters = set().union(*(keys_upstream(study, limit) for limit in study.limits))
    uncertain = [
        one.key for one in study.all_inputs() if not (one.exact or one.varies) and one.key in matters
    ]
    added: tuple[Measurement, ...] = ()
    if wanted or (wanted is None and not listed):
        read_already = {key for one in listed for key in one.reads}
        added = tuple(_from_catalogue(study, [key for key in uncertain if key not in read_already]))
    read = {key for one in (*listed, *added) for key in one.reads}
    # What goes together with an input tells of it.
    telling = matters.union(*((tie.first, tie.second) for tie in study.correlations))
    idle = [one.label for one in listed if telling.isdisjoint(one.reads)]
    return WaysToMeasure(
        measurements=(*listed, *added),
        from_catalogue={one.name: one.label for one in added},
        unread=tuple(key for key in uncertain if key not in read),
        cautions=tuple(
            f"no limit hangs on what measuring the {name} reads: it is not weighed" for name in idle
        ),
    )


def _listed(study: Study) -> tuple[Measurement, ...]:
    """Read the measurements that the study itself lists."""
    if not study.entries.measurements:
        return ()
    units = _units(study)
    entries = {
        name: {**entry, "reads": _reads(study, entry, list(units))} for name, entry in catalogue().items()
    }

    varying = {one.key for one in study.all_inputs() if one.varies}

    def unit_of(name: str) -> str:
        if name in varying:
            raise StudyError(
                "a measurement reads what has one true value, and this varies from run to run",
                found=name,
                allowed=", ".join(sorted(units.keys() - varying)),
                remedy=f"leave it out, or say varies = false at {name} where one value is true of every run",
            )
        if name not in units:
            exact = name in study.inputs
            raise StudyError(
                "a measurement reads an uncertain input of this study",
                found=f"{name}, which is given as exact" if exact else name,
                allowed=", ".join(sorted(units)),
                remedy="give it a spread under [inputs], or leave it out"
                if exact
                else did_you_mean(name, units),
            )
        return units[name]

    found, faults = [], Faults()
    for name, table in study.entries.measurements.items():
        with faults.noted():
            try:
                found.append(measurement_from(name, _by_member(study, table), unit_of, entries))
            except SquatlineError as error:
                error.key = f"measurements.{error.key or name}"
                raise error.within(file=str(study.path)) from None
    faults.tell()
    return tuple(found)


def _by_member(study: Study, table: Any) -> Any:
    """Return a measurement with each name of a family replaced by those of its members."""
    reads = table.get("reads") if isinstance(table, Mapping) else None
    names = [reads] if isinstance(reads, str) else reads
    if not isinstance(names, (list, Mapping)) or not all(isinstance(name, str) for name in names):
        return table
    members = {name: study.graph.of_family(name) or (name,) for name in names}
    if isinstance(names, Mapping):
        return {**table, "reads": {one: names[name] for name in names for one in members[name]}}
    return {**table, "reads": [one for name in names for one in members[name]]}


def _from_catalogue(study: Study, keys: list[str]) -> Iterator[Measurement]:
    """Yield each home method that reads some of the inputs: one an input where that is a job of its own."""
    units = _units(study)
    for method, entry in catalogue().items():
        reads = _reads(study, entry, keys)
        jobs = {f"{method}_{key}": {key: how_well} for key, how_well in reads.items()}
        for name, job in (jobs if entry.get("each") else {method: reads} if reads else {}).items():
            quantities = dict.fromkeys(key.partition("@")[0] for key in job)
            table = {
                "label": _label(entry, list(quantities)),
                "reads": job,
                "accuracy": entry.get("accuracy", {}),
                "hours": entry["hours"] * _members(study, list(quantities)),
            }
            yield measurement_from(name, table, units.__getitem__)


def _units(study: Study) -> dict[str, str]:
    """Return the SI unit of every uncertain input by its key."""
    return {one.key: study.graph[one.quantity].unit for one in study.all_inputs() if not one.exact}


def _reads(study: Study, entry: Mapping[str, Any], keys: list[str]) -> dict[str, Mapping[str, Any]]:
    """Return what an entry of the catalogue says of each of some inputs that it reads."""
    found = {}
    for read, how_well in entry["reads"].items():
        for quantity in study.graph.of_family(read) or (read,):
            found.update({key: how_well for key in keys if key.partition("@")[0] == quantity})
    return found


def _members(study: Study, quantities: list[str]) -> int:
    """Count the members of a family that are measured: each takes its time."""
    families = study.graph.families.values()
    measured = [
        {one for one in members for q in quantities if q.startswith(f"{one}_")} for members in families
    ]
    return max([1, *map(len, measured)])


def _label(entry: Mapping[str, Any], quantities: list[str]) -> str:
    """Name the only input of several that is read; else what the method is for."""
    one_of_several = len(quantities) == 1 < len(entry["reads"])
    return label(quantities[0]) if one_of_several else str(entry["label"])
