"""The study file: what is read, what may stand in it, and every way it can be wrong.

A study is a folder with a ``study.toml`` (or the file itself).  Its shape is checked here once; everything
later works on the frozen ``Study``, in SI units.
"""

from __future__ import annotations

import os
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

from explorer.engine.sampling import check_correlation
from explorer.errors import SquatlineError, StudyError, UnknownQuantityError, nearest
from explorer.graph.graph import Graph
from explorer.graph.quantity import Quantity, asked_name
from explorer.graph.units import dimension_matches, display_unit, parse
from explorer.model import modules
from explorer.study.beside import told_beside
from explorer.study.entries import Distribution, Exact, read_distribution
from explorer.study.limits import Limit, Output, read_asked
from explorer.study.on_wheels import check_contact, judged_on_wheels
from explorer.study.own_quantities import own_modules
from explorer.study.schema import ConditionEntry, LimitEntry, StudyFile, SweepEntry, read_schema
from explorer.study.text import STUDY_FILE, Merged, StudyText, read_study_text
from explorer.study.usual import is_usual, usual_entry

# A tail beyond what is possible is forgiven when rarer than this; what is drawn there is a failed sample.
FORGIVEN_TAIL = 1e-3
# What a condition sets is a choice of how the car is run, not a measured value.
CHOSEN = "set by the condition"


@dataclass(frozen=True)
class Input:
    """One quantity that the study gives: its distribution in SI units and where it comes from.

    ``key`` is its own: the quantity, or ``quantity@condition`` for an override.  ``follows`` names the input
    whose random stream it draws from, for a build that changes the value but not what scatters it.  A
    ``chosen`` value is filled in anew for every point of a design, so it is never one with an equal value.
    """

    key: str
    quantity: str
    distribution: Distribution
    display_unit: str
    source: str | None = None
    condition: str | None = None
    default: bool = False
    follows: str | None = None
    chosen: bool = False

    @property
    def stream(self) -> str:
        """Name of its random stream."""
        return self.follows or self.key

    @property
    def exact(self) -> bool:
        """True when it has one value only."""
        return isinstance(self.distribution, Exact)

    @property
    def token(self) -> Any:
        """What the program tells values apart by: equal exact overrides are one value."""
        if self.exact and not self.chosen:
            return (self.quantity, float(self.distribution.nominal))
        return self.key


@dataclass(frozen=True)
class Condition:
    """How the car is being run: overrides of inputs, nothing else."""

    name: str
    words: str
    overrides: Mapping[str, Input]


@dataclass(frozen=True)
class Sweep:
    """Values of one input at which quantities are shown, condition by condition."""

    along: str
    display_unit: str
    values: tuple[float, ...]
    quantities: tuple[str, ...]
    conditions: tuple[str, ...]


@dataclass(frozen=True)
class Correlation:
    """Correlation of the normal scores of two inputs."""

    first: str
    second: str
    value: float
    source: str | None = None


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
    ``included`` are the files whose inputs replaced others, in the order of the study.
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

    @property
    def folder(self) -> Path:
        """Folder the study's own files lie in."""
        return self.path.parent

    def given_in(self, condition: str | None) -> dict[str, Input]:
        """Return the inputs by quantity as they stand in a condition, defaults included."""
        overrides = self.conditions[condition].overrides if condition else {}
        return {**self.inputs, **overrides}

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

    def unit_of(self, quantity: str) -> str:
        """Return the unit a quantity is shown in: the study's choice, else as it was given, else SI."""
        quantity = asked_name(quantity)
        if quantity in self.display:
            return self.display[quantity]
        given = self.inputs.get(quantity)
        return display_unit(self.graph[quantity].unit, "as given", given.display_unit if given else None)


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
        With file, key, what was found, what is allowed and the remedy.
    """
    path = Path(path)
    file = path / STUDY_FILE if os.path.isdir(path) else path
    try:
        return _build(file, read_study_text(file, text), allow_code)
    except SquatlineError as error:
        raise error.within(file=str(file)) from None


def _build(file: Path, text: StudyText, allow_code: bool) -> Study:
    entries = read_schema(text.data)
    check_contact(entries)
    graph = Graph.build(
        [*modules(entries.models), *own_modules(entries.study.own_quantities, file.parent, allow_code)],
        {family: tuple(members) for family, members in entries.families.items()},
    )
    tables = _tables(entries, graph, file.parent)
    inputs = _inputs(entries.inputs, graph, file.parent)
    conditions = _conditions(entries.conditions, graph, file.parent)
    display = _display(entries.display, graph)
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
        inputs=inputs,
        conditions=conditions,
        limits=(),
        sweeps=(),
        correlations=_correlations(entries, inputs),
        outputs=(),
        display=display,
        assumptions=tuple(entries.study.assumptions),
        not_modelled=tuple(entries.study.not_modelled),
        entries=entries,
        tables=tables,
        included=tuple(_included(one, entries.inputs, graph, file.parent) for one in text.includes),
    )
    limits = tuple(_limit(entry, position, study) for position, entry in enumerate(entries.limits))
    sweeps = tuple(_sweep(entry, position, study) for position, entry in enumerate(entries.sweeps))
    outputs = tuple(
        (name, condition)
        for position, entry in enumerate(entries.outputs)
        for name in entry.quantities
        for condition in _known_conditions(entry.conditions, study, f"outputs[{position + 1}].conditions")
    )
    study = replace(study, limits=limits, sweeps=sweeps, outputs=outputs)
    _check_reachable(study)
    study = judged_on_wheels(study, [entry.standing_counts for entry in entries.limits])
    return replace(study, outputs=tuple(dict.fromkeys([*study.outputs, *told_beside(study)])))


def _included(include: Merged, entries: Mapping[str, Any], graph: Graph, folder: Path) -> Included:
    # Before it a member of a family may have had the entry that all of them share.
    shared = {one: entry for name, entry in entries.items() for one in graph.of_family(name)}
    entries_before = {name: shared.get(name) if one is None else one for name, one in include.before.items()}
    before = {
        name: _default(graph[name])
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


def _tables(entries: StudyFile, graph: Graph, folder: Path) -> dict[str, Any]:
    found: dict[str, Any] = {}
    for name, entry in entries.tables.items():
        quantity = _known(name, graph, f"tables.{name}")
        if not quantity.table:
            raise StudyError(
                "this quantity is not a table",
                key=f"tables.{name}",
                remedy="give its number under [inputs]",
            )
        from explorer.graph.tables import read_table

        found[name] = read_table(folder / entry.file, quantity.table, entry.units, key=f"tables.{name}")
    return found


def _known(name: str, graph: Graph, key: str) -> Quantity:
    try:
        return graph[name]
    except UnknownQuantityError as error:
        raise StudyError(
            f"no quantity is called {name!r}",
            key=key,
            allowed="a quantity of the chosen models; 'squatline explain --all' lists them",
            remedy=error.remedy
            if error.remedy and error.remedy.startswith("did")
            else f"'squatline explain {name}' looks for what may be meant",
        ) from None


def _asked_for(name: str, graph: Graph, key: str) -> Quantity:
    """Return a quantity that is one number a car."""
    quantity = _known(name, graph, key)
    if quantity.record:
        parts = ", ".join(part.name for part in quantity.parts)
        raise StudyError(
            "this quantity holds several values at once",
            key=key,
            found=name,
            allowed=parts or "a quantity that is one number",
            remedy="ask for one of them" if parts else f"'squatline explain {name}' shows what builds on it",
        )
    return quantity


def read_inputs(
    entries: Mapping[str, Any], graph: Graph, folder: Path, key: str, condition: str | None = None
) -> dict[str, Input]:
    """Read entries by quantity; one by the name of a family is that of each member that has none of its own.

    Parameters are those of ``read_input``, ``key`` being that of the section.

    Raises
    ------
    StudyError
        As ``read_input`` does.
    """
    found: dict[str, Input] = {}
    for name, entry in entries.items():
        for one in graph.of_family(name) or (name,):
            if one == name or one not in entries:
                found[one] = read_input(one, entry, graph, folder, f"{key}.{name}", condition)
    return found


def _inputs(entries: Mapping[str, Any], graph: Graph, folder: Path) -> dict[str, Input]:
    given = read_inputs(entries, graph, folder, "inputs")
    defaults = {name: _default(quantity) for name, quantity in graph.quantities.items() if name not in given}
    return {**given, **{name: default for name, default in defaults.items() if default is not None}}


def _default(quantity: Quantity) -> Input | None:
    if quantity.default is None:
        return None
    return Input(
        quantity.name, quantity.name, Exact(quantity.default), quantity.unit, "default", default=True
    )


def read_input(
    name: str, entry: Any, graph: Graph, folder: Path, key: str, condition: str | None = None
) -> Input:
    """Read one input as it stands in the file.

    Parameters
    ----------
    name, entry:
        The quantity, and the number, text or table it is given as.
    folder:
        Where the files it names lie.
    key:
        Its place in the study, for messages.
    condition:
        The condition that overrides it, if one does.

    Raises
    ------
    StudyError
        When the quantity is unknown, or the value is not possible.

    """
    quantity = _known(name, graph, key)
    if quantity.table:
        raise StudyError("this quantity is a table", key=key, remedy=f"name its CSV file as [tables.{name}]")
    if is_usual(entry):
        entry = usual_entry(quantity, key)
    try:
        distribution, unit = read_distribution(entry, quantity.unit, key, folder)
    except SquatlineError as error:
        raise error.within(key=key) from None
    _check_physical(quantity, distribution, key)
    source = entry.get("source") if isinstance(entry, dict) else None
    if source is None and condition is not None:
        source = CHOSEN
    if source is not None and not isinstance(source, str):
        raise StudyError("the source is text", key=f"{key}.source", found=source)
    own = f"{name}@{condition}" if condition else name
    return Input(own, name, distribution, unit, source, condition)


def _check_physical(quantity: Quantity, distribution: Distribution, key: str) -> None:
    if not quantity.allows(distribution.nominal):
        raise StudyError(
            "the value is outside what is physically possible",
            key=key,
            found=f"{distribution.nominal:g} {quantity.unit}",
            allowed=quantity.allowed_range,
            remedy="check the sign and the unit",
        )
    if isinstance(distribution, Exact):
        return
    tail = distribution.probability_outside(quantity.above, quantity.at_least, quantity.at_most)
    if tail > FORGIVEN_TAIL:
        raise StudyError(
            "too much of the distribution lies outside what is physically possible",
            key=key,
            found=f"{100 * tail:.2g} % of it",
            allowed=quantity.allowed_range,
            remedy='give a low and a high bound beside mean and sd, or distribution = "lognormal"',
        )


def _conditions(entries: Mapping[str, ConditionEntry], graph: Graph, folder: Path) -> dict[str, Condition]:
    found: dict[str, Condition] = {}
    for name, entry in entries.items():
        inherited: Mapping[str, Input] = {}
        if entry.like is not None:
            if entry.like not in found:
                raise StudyError(
                    f"no condition above is called {entry.like!r}",
                    key=f"conditions.{name}.like",
                    found=entry.like,
                    allowed=", ".join(found) or "none stands above this one",
                )
            inherited = found[entry.like].overrides
        own = read_inputs(entry.overrides, graph, folder, f"conditions.{name}", name)
        found[name] = Condition(name, entry.words or name.replace("_", " "), {**inherited, **own})
    return found


def _display(entries: Mapping[str, str], graph: Graph) -> dict[str, str]:
    for name, unit in entries.items():
        quantity = _known(name, graph, f"display.{name}")
        if not dimension_matches(unit, quantity.unit):
            raise StudyError(
                "the unit is of another dimension",
                key=f"display.{name}",
                found=unit,
                allowed=f"a unit of the same kind as {quantity.unit}",
            )
    return dict(entries)


def _correlations(entries: StudyFile, inputs: Mapping[str, Input]) -> tuple[Correlation, ...]:
    found = []
    for position, entry in enumerate(entries.correlations):
        key = f"correlations[{position + 1}]"
        first, second = entry.between
        for name in (first, second):
            given = inputs.get(name)
            if given is None or given.exact:
                raise StudyError(
                    "a correlation is between two uncertain inputs of this study",
                    key=f"{key}.between",
                    found=name,
                    remedy=f"did you mean {nearest(name, inputs)!r}?"
                    if given is None
                    else "give it a spread first",
                )
        found.append(Correlation(first, second, entry.value, entry.source))
    if found:
        names = tuple(dict.fromkeys(name for c in found for name in (c.first, c.second)))
        check_correlation(names, {(c.first, c.second): c.value for c in found})
    return tuple(found)


def _known_conditions(names: list[str], study: Study, key: str) -> list[str]:
    for name in names:
        if name not in study.conditions:
            near = nearest(name, study.conditions)
            raise StudyError(
                f"no condition is called {name!r}",
                key=key,
                found=name,
                allowed=", ".join(study.conditions) or "none is defined",
                remedy=f"did you mean {near!r}?" if near else "define it under [conditions]",
            )
    return names


def _bound(value: Any, unit: str | None, quantity: Quantity, key: str) -> tuple[float, str]:
    try:
        return parse(value, unit, quantity.unit)
    except SquatlineError as error:
        raise error.within(key=key) from None


def _limit(entry: LimitEntry, position: int, study: Study) -> Limit:
    key = f"limits[{position + 1}]" + (f" ({entry.name})" if entry.name else "")
    quantity = _asked_for(entry.quantity, study.graph, f"{key}.quantity")
    _known_conditions([name for name in (entry.condition, entry.minus) if name], study, f"{key}.condition")
    output = Output(quantity.name, entry.condition, entry.minus)
    asked, unit = read_asked(entry, quantity.unit, key)
    return Limit(
        name=entry.name or f"{quantity.name} {' minus '.join(where for _, where in output.pairs)}",
        output=output,
        asked=asked,
        probability=entry.probability,
        safety=entry.safety,
        why=entry.why,
        display_unit=study.display.get(quantity.name, unit),
    )


def _sweep(entry: SweepEntry, position: int, study: Study) -> Sweep:
    key = f"sweeps[{position + 1}]"
    along = _known(entry.along, study.graph, f"{key}.along")
    low, unit = _bound(entry.start, entry.unit, along, f"{key}.from")
    high, _ = _bound(entry.to, entry.unit, along, f"{key}.to")
    if low >= high:
        raise StudyError("the sweep runs upwards", key=key, found=f"from {entry.start} to {entry.to}")
    for name in entry.quantities:
        _asked_for(name, study.graph, f"{key}.quantities")
    step = (high - low) / (entry.steps - 1)
    values = tuple(low + step * i for i in range(entry.steps))
    conditions = tuple(_known_conditions(entry.conditions, study, f"{key}.conditions"))
    return Sweep(along.name, unit, values, tuple(entry.quantities), conditions)


def _check_reachable(study: Study) -> None:
    """Every asked-for quantity must be computable where it is asked for."""
    names = [limit.name for limit in study.limits]
    doubled = next((name for name in names if names.count(name) > 1), None)
    if doubled:
        raise StudyError(
            "two limits have the same name", key="limits", found=doubled, remedy="name them apart"
        )
    # What is asked for at one place is walked together: the graph above it is mostly the same.
    asked: dict[tuple[str, str | None], set[str]] = {}
    for quantity, condition in wanted_outputs(study):
        _asked_for(quantity, study.graph, "outputs.quantities")
        asked.setdefault((condition, None), set()).add(quantity)
    for sweep in study.sweeps:
        for condition in sweep.conditions:
            asked.setdefault((condition, sweep.along), set()).update(sweep.quantities)
    for (condition, along), quantities in asked.items():
        study.graph.require(sorted(quantities), study.given_names(condition) | ({along} if along else set()))


def wanted_outputs(study: Study) -> tuple[tuple[str, str], ...]:
    """Every (quantity, condition) that limits and outputs ask for, once, in the order of the file."""
    pairs = [pair for limit in study.limits for pair in limit.output.pairs]
    return tuple(dict.fromkeys([*pairs, *study.outputs]))
