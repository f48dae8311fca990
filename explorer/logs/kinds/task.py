"""What a kind of fit is given to work on, and what it hands back."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any, Literal

from explorer.errors import StudyError, nearest
from explorer.files.reading import Source
from explorer.graph.arrays import Array
from explorer.graph.units import parse_spread
from explorer.logs.fitting.fit import Fit
from explorer.logs.named_logs import read_study_log
from explorer.logs.reader import Log
from explorer.logs.test_conditions import DayOfLog
from explorer.study.schema import ColumnEntry, FitEntry, Keys, LogEntry, Value
from explorer.study.study import Input

# More rows than this change no fit and only take time.
MOST_ROWS = 20_000


class Options(Keys):
    """What any kind of fit can be told: how doubtful rows are weighed."""

    loss: Literal["auto", "linear", "soft_l1"] = "auto"


@dataclass(frozen=True)
class LoggedRun:
    """A log that was read, and how the car was run."""

    entry: LogEntry
    log: Log

    def __getitem__(self, quantity: str) -> Array:
        """Return a column in SI units."""
        return self.log[quantity]

    def __contains__(self, quantity: str) -> bool:
        """Tell whether a column was read."""
        return quantity in self.log.columns

    @property
    def source(self) -> Source:
        """Where the log comes from."""
        return self.log.source


@dataclass(frozen=True)
class Task:
    """A fit that the study asks for.

    Attributes
    ----------
    name, key:
        Its name, and where its section stands in the study.
    entry, options:
        The section, and what it says beyond the keys that every kind has.
    day:
        What is known besides the log.
    """

    name: str
    key: str
    entry: FitEntry
    options: Any
    day: DayOfLog

    @property
    def logs(self) -> tuple[LogEntry, ...]:
        """The logs of the fit."""
        written = {"separator": self.entry.separator, "decimal": self.entry.decimal}
        if self.entry.runs:
            return tuple(run.model_copy(update={**written, **_stated(run)}) for run in self.entry.runs)
        return (LogEntry(file=self.entry.file or "", **self.entry.said),)

    @property
    def one_log(self) -> LogEntry:
        """The log of a fit that takes one only."""
        if len(self.logs) > 1:
            raise StudyError(
                f"a fit of the kind {self.entry.kind!r} takes one log",
                key=f"{self.key}.runs",
                found=f"{len(self.logs)} runs",
                remedy="give each its own section [fits.NAME]",
            )
        return self.logs[0]

    def read(
        self,
        log: LogEntry,
        wanted: Sequence[str],
        optional: Sequence[str] = (),
        *,
        most_rows: int = MOST_ROWS,
    ) -> LoggedRun:
        """Read columns of a log; those that may be there are read when the study maps them.

        Raises
        ------
        SquatlineError
            When a column is not mapped, and for whatever is wrong with the log.
        """
        mapped = {**self.entry.columns, **log.columns}
        columns: dict[str, ColumnEntry] = {}
        for quantity in wanted:
            if quantity not in mapped:
                raise self._not_mapped(quantity, mapped)
            columns[quantity] = mapped[quantity]
        columns.update({quantity: mapped[quantity] for quantity in optional if quantity in mapped})
        return LoggedRun(log, read_study_log(self.day.study, log, columns, self.key, most_rows=most_rows))

    def _not_mapped(self, quantity: str, mapped: Mapping[str, ColumnEntry]) -> StudyError:
        near = nearest(quantity, mapped)
        return StudyError(
            f"the study does not say which column holds {quantity!r}",
            key=f"{self.key}.columns",
            found=", ".join(mapped) or "no column",
            remedy=f"{quantity} = {{ column = ..., unit = ... }}"
            + (f" (in place of {near}?)" if near else ""),
        )


def _stated(run: LogEntry) -> dict[str, str]:
    """Return how a run says itself that it is written."""
    return {key: said for key in ("separator", "decimal") if (said := getattr(run, key)) is not None}


@dataclass(frozen=True)
class Finding:
    """What a kind of fit found.

    Attributes
    ----------
    fit:
        Estimates in SI units.
    inputs:
        Those of them that stand for the same thing in the study, and may be given to it.
    runs:
        The logs as they were read.
    scope:
        Inputs at which the study's own value of an estimate is computed, to be compared with it.
    follows:
        Computed quantities that the fit took as known -> values of inputs they were computed at.  Their error
        is that of the study's inputs.
    """

    fit: Fit
    inputs: tuple[str, ...]
    runs: tuple[LoggedRun, ...]
    scope: Mapping[str, Input]
    follows: Mapping[str, Mapping[str, float]] = field(default_factory=dict)

    def noted(self, *notes: str) -> Finding:
        """Return the finding with further notes."""
        return replace(self, fit=replace(self.fit, notes=(*self.fit.notes, *notes)))


@dataclass(frozen=True)
class Kind:
    """A kind of fit.

    Attributes
    ----------
    words:
        What it does, in one line.
    columns:
        Quantities it cannot do without, and those it can use besides.
    find:
        The fit itself.
    options:
        What its section may say beyond the keys that every kind has.
    bench:
        What only this fit knows, with its SI unit.
    any_quantity:
        True when any quantity of the study may be a column.
    each_run:
        What each log says of itself, for a kind that takes several.
    """

    words: str
    columns: tuple[tuple[str, ...], tuple[str, ...]]
    find: Callable[[Task], Finding]
    options: type[Options] = Options
    bench: Mapping[str, str] = field(default_factory=dict)
    any_quantity: bool = False
    each_run: tuple[str, ...] = ()


def spread_above_zero(value: Value | None, unit: str, key: str) -> float | None:
    """Read a scatter that the study may give, in SI units.

    Raises
    ------
    StudyError
        When it is not above zero.
    """
    if value is None:
        return None
    spread = parse_spread(value, None, unit)[0]
    if not spread > 0:
        raise StudyError("a scatter is above zero", key=key, found=value)
    return spread
