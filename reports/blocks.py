"""The parts a section is made of, the same for the page and the printed form.

A section says what it has to say in these few shapes; how they look is the templates' business, and escaping
happens there, once, for everything.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from functools import cache, cached_property
from typing import Any, Literal, TypeAlias

from explorer.graph.written import System
from reports.formatting import Amount, Piece, Scale
from reports.options import SYSTEMS

SIGNS = {"pass": "✓", "fail": "✗", "undecided": "?"}


@dataclass(frozen=True)
class Strong(Piece):
    """Words that carry the sentence."""

    text: str


@dataclass(frozen=True)
class Quiet(Piece):
    """Words of lesser weight: units, notes, what is not given."""

    text: str | Amount


@dataclass(frozen=True)
class Code(Piece):
    """A name or a command to be typed as it stands."""

    text: str


@dataclass(frozen=True)
class Link(Piece):
    """A way to another section of the report."""

    text: str
    target: str


@dataclass(frozen=True)
class Verdict(Piece):
    """pass, fail or undecided, always as a word with its sign."""

    word: str

    @property
    def sign(self) -> str:
        """A shape of its own for each verdict, so that none is told by colour alone."""
        return SIGNS.get(self.word, "")


@dataclass(frozen=True)
class Safety(Piece):
    """Mark of a limit on which someone's safety rests."""


Part: TypeAlias = str | Amount | Strong | Quiet | Code | Link | Verdict | Safety
Line: TypeAlias = tuple[Part, ...]


@dataclass(frozen=True)
class Paragraph(Piece):
    """One paragraph; one that is an ``aside`` explains a picture, and is left out where none is drawn."""

    line: Line
    lead: bool = False
    aside: bool = False


@dataclass(frozen=True)
class Heading(Piece):
    """A heading inside a section."""

    text: str
    anchor: str = ""


@dataclass(frozen=True)
class Bullets(Piece):
    """A list, numbered where the order matters; as an ``aside`` it is for reading at leisure."""

    items: tuple[Line, ...]
    numbered: bool = False
    aside: bool = False


@dataclass(frozen=True)
class Note(Piece):
    """A paragraph set apart: what a reader must not miss."""

    title: str
    line: Line
    tone: Literal["caution", "plain"] = "caution"


@dataclass(frozen=True)
class Cell:
    """One cell; ``order`` is what the column is sorted by where the text would not do."""

    line: Line
    order: float | str | None = None


@dataclass(frozen=True)
class Column:
    """A column's title, which way its cells lean, and its width in per cent (0: as its words need).

    A ``mixed`` one holds numbers of different things, which have no order.
    """

    title: str
    number: bool = False
    width: int = 0
    mixed: bool = False


@dataclass(frozen=True)
class Table(Piece):
    """A table whose first column names the row; one that is an ``aside`` is for looking things up."""

    name: str
    caption: str
    columns: tuple[Column, ...]
    rows: tuple[tuple[Cell, ...], ...]
    sortable: bool = True
    small: bool = False
    aside: bool = False


@dataclass(frozen=True)
class Facts(Piece):
    """Names with what they stand for."""

    pairs: tuple[tuple[str, Line], ...]


@dataclass(frozen=True)
class Figure(Piece):
    """A chart, as a Vega-Lite specification for each system of units, or a drawing, as SVG for each.

    ``alternative`` says in words what the picture shows; ``caption`` the number to take from it; ``signs``
    are the lines that draw it where there are letters only.  ``draw`` makes the chart from its ``scales``
    in a system of units when it is asked for; systems in which these are alike share one.
    """

    name: str
    title: str
    alternative: tuple[str | Amount, ...]
    caption: Line = ()
    draw: Callable[..., Mapping[str, Any]] | None = None
    scales: Callable[[System], tuple[Scale, ...]] = lambda system: ()
    drawings: tuple[str, ...] = ()
    wide: bool = True
    numbers: Table | None = None
    signs: tuple[Line, ...] = ()

    @cached_property
    def _drawn(self) -> Callable[..., Mapping[str, Any]]:
        assert self.draw is not None
        return cache(self.draw)

    def chart(self, system: System) -> Mapping[str, Any]:
        """Return the specification of a chart in a system of units."""
        # Only who draws a chart needs to know of the library.
        from reports.later import unchecked

        with unchecked():
            return self._drawn(*self.scales(system))

    @property
    def charts(self) -> tuple[Mapping[str, Any], ...]:
        """One specification for each of ``SYSTEMS``; empty for a drawing."""
        return () if self.draw is None else tuple(map(self.chart, SYSTEMS))

    def spoken(self, system: System) -> str:
        """Return what the picture shows, in the units of a system."""
        return "".join(part if isinstance(part, str) else part.text(system) for part in self.alternative)


@dataclass(frozen=True)
class Gallery(Piece):
    """Small figures side by side."""

    figures: tuple[Figure, ...]


@dataclass(frozen=True)
class Answer:
    """A question of the first page, its answer in a few words, and why; numbered where the order matters."""

    question: str
    verdict: Verdict | None
    answer: str
    why: tuple[Line, ...]
    numbered: bool = False


@dataclass(frozen=True)
class Answers(Piece):
    """The questions a review opens with."""

    items: tuple[Answer, ...]


@dataclass(frozen=True)
class Signatures(Piece):
    """Empty lines to sign on."""

    roles: tuple[str, ...]


@dataclass(frozen=True)
class Controls(Piece):
    """A part of the page that works only there; ``data`` is what it works with."""

    template: str
    data: Mapping[str, Any] = field(default_factory=dict)


Block: TypeAlias = (
    Paragraph | Heading | Bullets | Note | Table | Facts | Figure | Gallery | Answers | Signatures | Controls
)


@dataclass(frozen=True)
class Section:
    """One section of the report; one that needs a script is not printed, an appendix is for looking up."""

    id: str
    title: str
    blocks: tuple[Block, ...]
    printed: bool = True
    appendix: bool = False


def cell(*line: Part, order: float | str | None = None) -> Cell:
    """Write a cell from its parts."""
    return Cell(line, order)
