"""From a study's logs to estimates: each ``[fits.NAME]`` read, fitted, and held against what was believed."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path

from explorer.errors import Faults, unknown
from explorer.graph.words import Number, told
from explorer.logs.fit_updates import updated
from explorer.logs.fitting.bayes import Updated
from explorer.logs.fitting.fit import Fit, Known
from explorer.logs.fitting.input_block import Contradiction, contradiction
from explorer.logs.kinds import KINDS
from explorer.logs.kinds.task import Finding, Kind, Options, Task
from explorer.logs.named_logs import logged_unit, told_in_study
from explorer.logs.shared_errors import Shared, shared_errors
from explorer.logs.test_conditions import DayOfLog, day_of_log, drawn, known_input, summed_up
from explorer.study.schema import FitEntry
from explorer.study.shape import read_section
from explorer.study.study import Study

FITTED_FOLDER = "fitted"


@dataclass(frozen=True)
class Fitted:
    """A fit of the study: what was found, and what the study believed without it.

    Attributes
    ----------
    name, kind:
        Its name, and in words what it does.
    study:
        The study without what an earlier fit of this name wrote.
    finding:
        Estimates from the logs alone, and the logs.
    believed:
        Estimate -> what the study believed, given or computed; only those it says anything about.
    contradiction:
        How far log and study lie apart; None when the study believed nothing of it.
    result:
        What is handed to the study: the estimates, or the study's inputs updated by them.
    inputs:
        Those of the results that go into the study.
    shared:
        Correlations of the results with other inputs of the study.
    update:
        The update, when one was asked for.
    present:
        Files that the study as it stands includes.
    """

    name: str
    kind: str
    study: Study
    finding: Finding
    believed: Mapping[str, Known]
    contradiction: Contradiction | None
    result: Fit
    inputs: tuple[str, ...]
    shared: tuple[Shared, ...]
    update: Updated | None
    present: tuple[str, ...]

    @property
    def fit(self) -> Fit:
        """Estimates from the logs alone."""
        return self.finding.fit

    @property
    def file(self) -> str:
        """The file it is written to, as the study includes it."""
        return included_as(self.name)

    @property
    def included(self) -> bool:
        """Whether the study includes that file already."""
        return self.file in self.present

    @property
    def path(self) -> Path:
        """Where that file lies."""
        return self.study.folder / self.file


def included_as(name: str) -> str:
    """Return the file a fit is written to, as the study includes it."""
    return f"{FITTED_FOLDER}/{name}.toml"


def fit(study: Study, name: str | None = None, *, update: bool = False) -> tuple[Fitted, ...]:
    """Fit the logs of a study.

    Parameters
    ----------
    study:
        As it stands; what an earlier fit of the same name wrote is left aside.
    name:
        One fit of the study; by default all of them.
    update:
        Whether the study's own samples are weighted by the log (Bayes), instead of taking the log alone.

    Returns
    -------
    tuple of Fitted
        A fit that is not good enough to be used says so in ``result.weakness``.

    Raises
    ------
    SquatlineError
        When a section or its log cannot be used, with file and key.
    """
    study = study.on_any_day
    entries = study.entries.fits
    if name is not None and name not in entries:
        raise unknown("no fit is called {}", name, entries, "fits").within(file=str(study.path))
    return tuple(_fitted(study, one, update) for one in ([name] if name is not None else entries))


def check_fits(study: Study) -> None:
    """Check the sections of all fits without reading a log.

    Raises
    ------
    StudyError
        For the first fault of each, with its key.
    """
    faults = Faults()
    for name in study.entries.fits:
        with faults.noted():
            _task(study.without(included_as(name)), name)
    faults.tell()


def _fitted(study: Study, name: str, update: bool) -> Fitted:
    before = study.without(included_as(name))
    task, kind = _task(before, name)
    with told_in_study(study, task.key, [log.file for log in task.logs]):
        finding = kind.find(task)
        believed = _believed(task.day, finding)
        posterior = updated(finding, task.day, getattr(task.options, "weigh_in", [])) if update else None
    result = finding.fit if posterior is None else posterior.fit
    given_back = _given_back(before, finding) if posterior is None else posterior.fit.names
    spreads = {known.name: (known.value, known.standard_uncertainty) for known in believed.values()}
    return Fitted(
        name=name,
        kind=kind.words,
        study=before,
        finding=finding,
        believed=believed,
        contradiction=contradiction(finding.fit, spreads) if spreads else None,
        result=_possible(result, given_back, before),
        inputs=given_back,
        shared=shared_errors(finding, task.day) if posterior is None else posterior.shared,
        update=None if posterior is None else posterior.update,
        present=tuple(one.file for one in study.included),
    )


def _task(study: Study, name: str) -> tuple[Task, Kind]:
    entry, key = study.entries.fits[name], f"fits.{name}"
    with told_in_study(study, key, []):
        if entry.kind not in KINDS:
            raise unknown("no kind of fit is called {}", entry.kind, KINDS, f"{key}.kind")
        kind = KINDS[entry.kind]
        options = _options(kind, entry, key)
        _check_columns(study, kind, entry, key)
        day = day_of_log(study, entry.known, kind.bench, f"{key}.known")
    return Task(name, key, entry, options, day), kind


def _options(kind: Kind, entry: FitEntry, key: str) -> Options:
    """Read what a kind can be told; a key that nobody knows is answered with all that may stand there."""
    known = [*FitEntry.model_fields, *kind.options.model_fields]
    strange = next((name for name in entry.options if name not in known), None)
    if strange is not None:
        raise unknown("{} is not a key that may stand here", strange, known, f"{key}.{strange}")
    return read_section(kind.options, entry.options, key)


def _check_columns(study: Study, kind: Kind, entry: FitEntry, key: str) -> None:
    """Refuse a column that the fit would leave unread, which is most often a misspelt one."""
    wanted, optional = kind.columns
    for columns in (entry.columns, *(run.columns for run in entry.runs)):
        for quantity in columns:
            if quantity in (*wanted, *optional):
                continue
            if not kind.any_quantity:
                raise unknown(
                    "this kind of fit reads no {}",
                    quantity,
                    [*wanted, *optional],
                    f"{key}.columns.{quantity}",
                    otherwise="leave it out",
                )
            logged_unit(study.graph, quantity)


def _believed(day: DayOfLog, finding: Finding) -> dict[str, Known]:
    """Return what the study says of each estimate; a default that nobody gave is no belief."""
    graph, scope = day.study.graph, finding.scope
    found: dict[str, Known | None] = {}
    for name in finding.fit.names:
        if name in scope:
            found[name] = None if scope[name].default else known_input(scope[name], graph[name].unit)
        elif name in graph and not graph.missing([name], {*scope, *day.study.tables}):
            values = drawn(day.study, [name], scope).computed[name]
            found[name] = summed_up(name, values, graph[name].unit)
    return {name: known for name, known in found.items() if known is not None}


def _possible(result: Fit, inputs: tuple[str, ...], study: Study) -> Fit:
    """Return the result, called weak when what goes back is physically impossible."""
    for name in inputs:
        quantity, value = study.graph[name], result.value(name)
        if not quantity.allows(value):
            ends = {"above": quantity.above, "at least": quantity.at_least, "at most": quantity.at_most}
            bounds = [(word, end) for word, end in ends.items() if end is not None]
            words = told(
                f"{name} comes out as {{}}, but must be {' and '.join(f'{word} {{}}' for word, _ in bounds)}",
                *(
                    Number(one, unit=quantity.unit, display_unit=study.unit_of(name))
                    for one in (value, *(end for _, end in bounds))
                ),
            )
            return replace(result, weakness=result.weakness or words)
    return result


def _given_back(study: Study, finding: Finding) -> tuple[str, ...]:
    """Return the estimates that are quantities of the study's models; another model has other ones."""
    return tuple(name for name in finding.fit.names if name in finding.inputs and name in study.graph)
