"""Every error this project raises on purpose, in one tree.

A message says where (file and key), what was found, what is allowed and what to do about it, so that the
command line can print it as it is.
"""

from __future__ import annotations

import difflib
from collections.abc import Callable, Collection, Iterable, Iterator, Sequence
from contextlib import contextmanager
from typing import Any, TypeVar

S = TypeVar("S")

# More mistakes than this are a list that nobody reads; they show again when the first are put right.
MOST_TOLD = 20


class SquatlineError(Exception):
    """Base of the tree: something a user can put right.

    Parameters
    ----------
    problem:
        One sentence: what is wrong.
    file, key:
        Where it stands, as the user would look for it.
    line, text:
        The line of the file that it stands in, counted from 1, and what that line holds.
    found, allowed, remedy:
        What was read, what may stand there, and the next step.
    """

    def __init__(
        self,
        problem: str,
        *,
        file: str | None = None,
        key: str | None = None,
        line: int | None = None,
        text: str | None = None,
        found: object = None,
        allowed: str | None = None,
        remedy: str | None = None,
    ) -> None:
        self.problem = problem
        self.file = file
        self.key = key
        self.line = line
        self.text = text
        self.found = found
        self.allowed = allowed
        self.remedy = remedy
        super().__init__(problem)

    @property
    def each(self) -> tuple[SquatlineError, ...]:
        """The errors it stands for: itself, unless it stands for several."""
        return (self,)

    def within(self, *, file: str | None = None, key: str | None = None) -> SquatlineError:
        """Return the same error with the place filled in where it was not known yet."""
        self.file = self.file or file
        self.key = self.key or key
        return self

    def __str__(self) -> str:
        place = ": ".join(part for part in (self.file, self.key) if part)
        lines = [f"{place}: {self.problem}" if place else self.problem]
        if self.line is not None:
            lines.append(f"  line {self.line}: {self.text}")
        if self.found is not None:
            lines.append(f"  found:   {self.found}")
        if self.allowed:
            lines.append(f"  allowed: {self.allowed}")
        if self.remedy:
            lines.append(f"  remedy:  {self.remedy}")
        return "\n".join(lines)


class StudyError(SquatlineError):
    """The study file cannot be read or does not say something that can be run."""


class JoinedError(StudyError):
    """All that was found wrong at once, each with its own place and remedy."""

    def __init__(self, errors: Sequence[SquatlineError]) -> None:
        self.errors = tuple(errors)
        super().__init__(f"{len(errors)} mistakes", file=errors[0].file)

    @property
    def each(self) -> tuple[SquatlineError, ...]:
        """The errors one by one."""
        return self.errors

    def within(self, *, file: str | None = None, key: str | None = None) -> SquatlineError:
        """Fill in the place of each."""
        for error in self.errors:
            error.within(file=file, key=key)
        return super().within(file=file)

    def __str__(self) -> str:
        in_order = sorted(self.errors, key=lambda error: (error.file or "", error.line or 0))
        told = "\n\n".join(map(str, in_order[:MOST_TOLD]))
        more = len(self.errors) - MOST_TOLD
        return f"{self.problem} were found\n\n{told}" + (f"\n\nand {more} more" if more > 0 else "")


class UnitError(StudyError):
    """A unit is missing, unknown, or of the wrong dimension."""


class DistributionError(StudyError):
    """The numbers given do not make a distribution."""


class CorrelationError(StudyError):
    """The correlations given cannot all hold at once."""


class GraphError(SquatlineError):
    """The quantities do not form a graph that can be evaluated."""


class CycleError(GraphError):
    """A quantity needs itself, directly or through others."""


class UnknownQuantityError(GraphError):
    """A name that no model and no study defines."""


class DoublyDefinedError(GraphError):
    """Two functions compute the same quantity."""


class MissingInputError(GraphError):
    """An input that an asked-for quantity needs was not given."""


class TableError(StudyError):
    """A CSV table (aero map, coefficients, log) cannot be used."""


class SampleError(SquatlineError):
    """Too few or unusable samples for the question asked."""


class ResultsError(SquatlineError):
    """A results folder cannot be read or written."""


class RenderError(SquatlineError):
    """A report form cannot be produced on this machine."""


class ClusterError(SquatlineError):
    """Work cannot be handed to the workers that were asked for."""


class Faults:
    """What is wrong, gathered so that all of it can be told at once."""

    def __init__(self) -> None:
        self.found: list[SquatlineError] = []

    @contextmanager
    def noted(self) -> Iterator[None]:
        """Note an error that is raised inside, once, and go on behind it."""
        try:
            yield
        except SquatlineError as error:
            told = {str(one) for one in self.found}
            self.found += [one for one in error.each if str(one) not in told]

    def all_at_once(self) -> SquatlineError:
        """Return what was noted: one error as it is, several as ``JoinedError``."""
        return self.found[0] if len(self.found) == 1 else JoinedError(self.found)

    def tell(self) -> None:
        """Raise what was noted, if anything was."""
        if self.found:
            raise self.all_at_once() from None


def read_all(subject: S, sections: Sequence[Callable[[S], Any]]) -> list[Any]:
    """Return what each function reads of a subject; what is wrong in any of them is told at once."""
    faults, found = Faults(), []
    for section in sections:
        with faults.noted():
            found.append(section(subject))
    faults.tell()
    return found


@contextmanager
def with_file(file: str | None) -> Iterator[None]:
    """Fill in the file of every error that is raised inside and does not name one."""
    try:
        yield
    except SquatlineError as error:
        raise error.within(file=file) from None


@contextmanager
def with_key(key: str) -> Iterator[None]:
    """Fill in the key of every error that is raised inside and does not name one."""
    try:
        yield
    except SquatlineError as error:
        raise error.within(key=key) from None


def nearest(name: str, known: Iterable[str]) -> str | None:
    """Return the known name most like the given one, or None when nothing is near."""
    matches = difflib.get_close_matches(name, list(known), n=1, cutoff=0.6)
    return matches[0] if matches else None


def did_you_mean(name: object, known: Iterable[str], otherwise: str | None = None) -> str | None:
    """Return the remedy for a name that nobody knows: the nearest known one, or something else to do."""
    near = nearest(str(name), known)
    return f"did you mean {near!r}?" if near else otherwise


def unknown(
    problem: str,
    name: object,
    known: Collection[str],
    key: str,
    *,
    allowed: str | None = None,
    otherwise: str | None = None,
    raising: type[SquatlineError] = StudyError,
) -> SquatlineError:
    """Return the error for a name that is not among those that may stand at a key.

    Parameters
    ----------
    problem:
        With {} where the name goes.
    allowed, otherwise:
        What may stand there, where it is more than the known names; the remedy where none of them is near.
    """
    return raising(
        problem.format(repr(name)),
        key=key,
        found=name,
        allowed=allowed or ", ".join(known) or "none is defined",
        remedy=did_you_mean(name, known, otherwise),
    )
