"""The study file: what is read, what may stand in it, and every way it can be wrong.

A study is a folder with a ``study.toml`` (or the file itself).  Its shape is checked here once; everything
later works on the frozen ``Study``, in SI units.
"""

from __future__ import annotations

import os
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from explorer.errors import Faults, SquatlineError, StudyError, did_you_mean, with_file, with_key
from explorer.graph.graph import Graph
from explorer.graph.quantity import asked_name
from explorer.graph.units import dimension_matches, written_in
from explorer.graph.written import display_unit
from explorer.model import modules
from explorer.study.asked_for import Sweep, check_reachable, read_limits, read_outputs, read_sweeps
from explorer.study.beside import swept_beside, told_beside
from explorer.study.correlations import Correlation, read_correlations
from explorer.study.day_to_day import with_days
from explorer.study.inputs import Input as Input
from explorer.study.inputs import default_input, known_quantity, read_input, read_inputs
from explorer.study.limits import Limit
from explorer.study.model_errors import known_model_errors, read_model_errors, with_model_errors
from explorer.study.on_wheels import check_contact, judged_on_wheels
from explorer.study.own_quantities import own_modules
from explorer.study.schema import StudyFile, TableEntry
from explorer.study.text import STUDY_FILE, Merged, StudyText, read_study_text
from explorer.study.throttle import (
    ACCELERATION,
    DECIDES,
    GIVEN,
    NO_PUSH,
    PUSH,
    refuse_both,
)
from explorer.study.today import NO_DAY, AnyDay, read_today

if TYPE_CHECKING:
    from explorer.engine.kept_values import KeptValues


@dataclass(frozen=True)
class Condition:
    """How the car is being run: its throttle, and overrides of inputs, nothing else."""

    name: str
    words: str
    overrides: Mapping[str, Input]
    throttle: str = "holding"

    def over(self, common: Mapping[str, Input]) -> dict[str, Input]:
        """Return common inputs as they stand here, the acceleration left to a throttle that decides it."""
        found = {**common, **self.overrides}
        if self.throttle in DECIDES:
            found.pop(ACCELERATION, None)
        return found | {PUSH: NO_PUSH} if self.throttle == "coasting" else found


@dataclass(frozen=True)
class Included:
    """A file that the study includes, as a fit writes it, and what stood before it.

    Attributes
    ----------
    file:
        As the study names it.
    before:
        Input that the file gives -> the input as it was before it; None where nothing gave it.
    correlations, dropped:
        The correlations it brings, and those between inputs it replaces, which described the old numbers.
    """

    file: str
    before: Mapping[str, Input | None]
    correlations: tuple[Correlation, ...]
    dropped: tuple[Correlation, ...]


@dataclass(frozen=True)
class Study:
    """A checked study.

    ``entries`` is the validated file, for the analyses that have their own sections (measurements,
    candidates, design variables); ``tables`` maps table quantities to what was read from their CSV files;
    ``included`` are the files whose inputs replaced others, in the order of the study; ``any_day`` has what
    was replaced by what is given for the day; ``kept`` is where what the model says of its cars is kept from
    one run to the next.
    """

    path: Path
    sha256: str
    title: str
    description: str
    note: str
    seed: int
    samples: int
    keep_samples: bool
    design: str
    replicates: int
    sensitivity_samples: int
    sensitivity_replicates: int
    sensitivity_pairs: bool
    graph: Graph
    inputs: Mapping[str, Input]
    conditions: Mapping[str, Condition]
    limits: tuple[Limit, ...]
    sweeps: tuple[Sweep, ...]
    correlations: tuple[Correlation, ...]
    outputs: tuple[tuple[str, str], ...]
    display: Mapping[str, str]
    assumptions: tuple[str, ...]
    not_modelled: tuple[str, ...]
    entries: StudyFile
    tables: Mapping[str, Any] = field(default_factory=dict)
    included: tuple[Included, ...] = ()
    any_day: AnyDay = NO_DAY
    kept: KeptValues | None = None

    @property
    def on_any_day(self) -> Study:
        """The study without what is given for the day, as it was when its logs were made."""
        if not self.any_day.inputs:
            return self
        return replace(
            self,
            inputs={**self.inputs, **self.any_day.inputs},
            correlations=self.correlations + self.any_day.correlations,
            any_day=NO_DAY,
        )

    @property
    def folder(self) -> Path:
        """Folder the study's own files lie in."""
        return self.path.parent

    def given_in(self, condition: str | None) -> dict[str, Input]:
        """Return the inputs by quantity as they stand in a condition, defaults included."""
        return self.conditions[condition].over(self.inputs) if condition else dict(self.inputs)

    def without(self, file: str) -> Study:
        """Return the study as it is without a file it includes; itself when it does not include that file."""
        names = [one.file for one in self.included]
        if file not in names:
            return self
        place = names.index(file)
        taken_out, later = self.included[place], self.included[place + 1 :]
        replaced_later = {name for one in later for name in one.before}
        inputs = dict(self.inputs)
        for name, before in taken_out.before.items():
            if name in replaced_later:
                continue
            if before is None:
                del inputs[name]
            else:
                inputs[name] = before
        kept = [one for one in self.correlations if one not in taken_out.correlations]
        kept += [one for one in taken_out.dropped if replaced_later.isdisjoint((one.first, one.second))]
        others = self.included[:place] + later
        return replace(self, inputs=inputs, correlations=tuple(kept), included=others)

    def given_names(self, condition: str | None) -> set[str]:
        """Names at which the graph stops in a condition: inputs and tables."""
        return set(self.given_in(condition)) | set(self.tables)

    def all_inputs(self) -> Iterator[Input]:
        """Every input once: the common ones, then what each condition overrides itself."""
        yield from self.inputs.values()
        for condition in self.conditions.values():
            yield from (given for given in condition.overrides.values() if given.condition == condition.name)

    def unit_of(self, quantity: str, magnitude: float | None = None) -> str:
        """Return the unit a quantity is shown in: the study's choice, else as given, else by its size."""
        quantity = asked_name(quantity)
        if quantity in self.display:
            return self.display[quantity]
        given = self.inputs.get(quantity)
        written = given.display_unit if given else None
        return display_unit(self.graph[quantity].unit, "as given", written, magnitude=magnitude)


def load_study(path: str | Path, *, allow_code: bool = False, text: str | None = None) -> Study:
    """Read and check a study.

    Parameters
    ----------
    path:
        The study's folder, or its TOML file.
    allow_code:
        Whether a Python file with quantities of the user's own, named by the study, may be run.
    text:
        What to read in place of what the file holds, as an editor has it before it is saved.

    Raises
    ------
    StudyError
        With file, line, key, what was found, what is allowed and the remedy; ``JoinedError`` for several
        mistakes: all in the shape of the files at once, then all in its entries, then all that is missing.
    """
    path = Path(path)
    file = path / STUDY_FILE if os.path.isdir(path) else path
    with with_file(str(file)):
        read = read_study_text(file, text)
        try:
            return _build(file, read, allow_code)
        except SquatlineError as error:
            for one in error.each:
                read.located(one)
            raise


def _build(file: Path, text: StudyText, allow_code: bool) -> Study:
    entries, faults = text.entries, Faults()
    models = Graph.build(
        [*modules(entries.models), *own_modules(entries.study.own_quantities, file.parent, allow_code)],
        {family: tuple(members) for family, members in entries.families.items()},
    )
    wrong = known_model_errors(entries, models, faults)
    graph = with_model_errors(models, wrong)
    with faults.noted():
        graph = with_days(graph, _sections_of_inputs(entries))
    check_contact(entries)
    tables = _tables(entries, graph, file.parent, faults)
    inputs = read_inputs(entries.inputs, graph, file.parent, "inputs", faults=faults)
    unread = {one for name in entries.inputs for one in graph.of_family(name) or (name,)} - inputs.keys()
    defaults = {name: default_input(one) for name, one in graph.quantities.items() if name not in inputs}
    inputs |= {name: default for name, default in defaults.items() if default is not None}
    inputs |= read_model_errors(wrong, graph, file.parent, faults)
    conditions = _conditions(entries, graph, file.parent, faults)
    display = _display(entries.display, graph, faults)
    correlations = read_correlations(entries, inputs, unread, faults)
    read = {name: entry for name, entry in entries.today.items() if name not in unread}
    today, any_day = read_today(read, inputs, conditions, correlations, graph, file.parent, faults)
    study = Study(
        path=file,
        sha256=text.digest,
        title=entries.study.title,
        description=entries.study.description,
        note=entries.study.note,
        seed=entries.study.seed,
        samples=entries.study.samples,
        keep_samples=entries.study.keep_samples,
        design=entries.study.design,
        replicates=entries.study.replicates,
        sensitivity_samples=entries.study.sensitivity_samples,
        sensitivity_replicates=entries.study.sensitivity_replicates,
        sensitivity_pairs=entries.study.sensitivity_pairs,
        graph=graph,
        inputs={**inputs, **today},
        conditions=conditions,
        limits=(),
        sweeps=(),
        correlations=tuple(one for one in correlations if one not in any_day.correlations),
        outputs=(),
        display=display,
        assumptions=tuple(entries.study.assumptions),
        not_modelled=tuple(entries.study.not_modelled),
        entries=entries,
        tables=tables,
        any_day=any_day,
    )
    study = replace(
        study,
        limits=read_limits(study, faults),
        sweeps=read_sweeps(study, faults),
        outputs=read_outputs(study, faults),
    )
    faults.tell()
    check_reachable(study)
    with with_file(str(file)):
        included = tuple(_included(one, entries.inputs, graph, file.parent) for one in text.includes)
    study = replace(study, included=included)
    study = judged_on_wheels(study, [entry.standing_counts for entry in entries.limits])
    outputs = tuple(dict.fromkeys([*study.outputs, *told_beside(study)]))
    return replace(study, outputs=outputs, sweeps=swept_beside(study))


def _sections_of_inputs(entries: StudyFile) -> Iterator[Mapping[str, Any]]:
    yield entries.inputs
    yield from (condition.overrides for condition in entries.conditions.values())
    yield from (candidate.overrides for candidate in entries.candidates.values())


def _included(include: Merged, entries: Mapping[str, Any], graph: Graph, folder: Path) -> Included:
    # Before it a member of a family may have had the entry that all of them share.
    shared = {one: entry for name, entry in entries.items() for one in graph.of_family(name)}
    entries_before = {name: shared.get(name) if one is None else one for name, one in include.before.items()}
    before = {
        name: default_input(graph[name])
        if entry is None
        else read_input(name, entry, graph, folder, f"inputs.{name}")
        for name, entry in entries_before.items()
    }
    return Included(
        include.file,
        before,
        *(
            tuple(Correlation(*entry.between, entry.value, entry.source) for entry in entries)
            for entries in (include.correlations, include.dropped)
        ),
    )


def _tables(entries: StudyFile, graph: Graph, folder: Path, faults: Faults) -> dict[str, Any]:
    found: dict[str, Any] = {}
    for name, entry in entries.tables.items():
        with faults.noted():
            found[name] = _table(name, entry, graph, folder)
    return found


def _table(name: str, entry: TableEntry, graph: Graph, folder: Path) -> Any:
    quantity = known_quantity(name, graph, f"tables.{name}")
    if not quantity.table:
        raise StudyError(
            "this quantity is not a table",
            key=f"tables.{name}",
            remedy="give its number under [inputs]",
        )
    from explorer.graph.tables import read_table

    return read_table(folder / entry.file, quantity.table, entry.units, key=f"tables.{name}")


def _conditions(entries: StudyFile, graph: Graph, folder: Path, faults: Faults) -> dict[str, Condition]:
    found: dict[str, Condition] = {}
    alone = Condition("", "", {}, GIVEN if ACCELERATION in entries.inputs else "holding")
    for name, entry in entries.conditions.items():
        like = found.get(entry.like or "", alone)
        if entry.like is not None and like is alone:
            faults.found.append(
                StudyError(
                    f"no condition above is called {entry.like!r}",
                    key=f"conditions.{name}.like",
                    found=entry.like,
                    allowed=", ".join(found) or "none stands above this one",
                    remedy=did_you_mean(entry.like, found, "name one that stands above, or move that one up"),
                )
            )
        own = read_inputs(entry.overrides, graph, folder, f"conditions.{name}", name, faults)
        with faults.noted():
            refuse_both(name, entry.throttle, own, entries.inputs)
        throttle = entry.throttle or (GIVEN if ACCELERATION in own else like.throttle)
        kept = {key: one for key, one in like.overrides.items() if key != ACCELERATION or throttle == GIVEN}
        found[name] = Condition(name, entry.words or name.replace("_", " "), {**kept, **own}, throttle)
    return found


def _display(entries: Mapping[str, str], graph: Graph, faults: Faults) -> dict[str, str]:
    for name, unit in entries.items():
        with faults.noted():
            quantity = known_quantity(name, graph, f"display.{name}")
            with with_key(f"display.{name}"):
                matches = dimension_matches(unit, quantity.unit)
            if not matches:
                raise StudyError(
                    "the unit is of another dimension",
                    key=f"display.{name}",
                    found=unit,
                    allowed=f"a unit of the same kind as {quantity.unit}",
                    remedy=f"did you mean {written_in(quantity.unit)[0]!r}?",
                )
    return dict(entries)
