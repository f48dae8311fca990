"""Screening of a study with many inputs: which of them matter to no limit, and may be plain values."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from explorer.analyses.sensitivity import make_design
from explorer.errors import StudyError
from explorer.estimators.screening import NEGLIGIBLE, Screened, Screening, screen_outputs
from explorer.study.study import Study

ROWS = 128


@dataclass(frozen=True)
class LookedAt:
    """One input, or one group of correlated inputs, over all limits.

    Attributes
    ----------
    name, members:
        The input or group, and the inputs in it.
    limit, most:
        The limit to whose margin it matters most, and what was found there; None where it reaches none.
    matters_to:
        Limits of whose margin's spread it may answer for more than is negligible.
    """

    name: str
    members: tuple[str, ...]
    limit: str | None
    most: Screened | None
    matters_to: tuple[str, ...]


@dataclass(frozen=True)
class ScreenedInputs:
    """What the screening of a study found.

    Attributes
    ----------
    inputs:
        Those that matter to most first, by their largest share.
    rest:
        What all inputs together do that matter to no limit: for each limit; empty without such inputs.
    rows, negligible:
        Base rows, and the share of a margin's variance below which an input does not matter.
    notes:
        What is out of the ordinary, by limit.
    """

    inputs: tuple[LookedAt, ...]
    rest: tuple[Screening, ...]
    rows: int
    negligible: float
    notes: tuple[tuple[str, str], ...]

    @property
    def idle(self) -> tuple[LookedAt, ...]:
        """Return the inputs that matter to no limit."""
        return tuple(one for one in self.inputs if not one.matters_to)

    @property
    def rest_at_most(self) -> float:
        """Return the largest share that all of these together may have of a margin's variance."""
        return max((one.inputs[0].share_at_most for one in self.rest), default=0.0)


def screen(study: Study, *, rows: int = ROWS) -> ScreenedInputs:
    """Draw each uncertain input anew in turn, and see which limits move.

    Parameters
    ----------
    rows:
        Cars to start from, a power of two; the cost is rows times one more than the inputs.

    Raises
    ------
    StudyError
        When no input upstream of a limit is uncertain.
    """
    design = replace(make_design(study), rows=rows)
    if not design.groups:
        raise StudyError(
            "there is nothing to look at",
            file=str(study.path),
            found="no uncertain input upstream of a limit",
            remedy="give the inputs that are not well known a spread",
        )
    limits = [limit.name for limit in design.limits]
    found = screen_outputs(design.one_sided(0), tuple(design.groups), limits)
    upstream = {limit: set(design.groups_of(k)) for k, limit in enumerate(limits)}
    inputs = tuple(_looked_at(name, keys, found, upstream) for name, keys in design.groups.items())
    inputs = tuple(sorted(inputs, key=lambda one: -one.most.share if one.most else 0.0))
    idle = tuple(key for one in inputs if not one.matters_to for key in one.members)
    rest: tuple[Screening, ...] = ()
    if idle:
        rest = screen_outputs(design.changed_together(0, idle), ["the rest"], limits)
    notes = tuple((one.output, one.note) for one in found if one.note)
    return ScreenedInputs(inputs, rest, rows, NEGLIGIBLE, notes)


def _looked_at(
    name: str, members: tuple[str, ...], found: Sequence[Screening], upstream: dict[str, set[str]]
) -> LookedAt:
    """Gather what was found of one input over the limits it lies upstream of."""
    reached = [
        (one.output, next(seen for seen in one.inputs if seen.name == name))
        for one in found
        if name in upstream[one.output]
    ]
    limit, most = max(reached, key=lambda pair: pair[1].share, default=(None, None))
    return LookedAt(name, members, limit, most, tuple(output for output, seen in reached if seen.matters))
