"""The parts a section is made of, the same for the page and the printed form.

A section says what it has to say in these few shapes; how they look is the templates' business, and escaping
happens there, once, for everything.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any, ClassVar, Literal, TypeAlias

from explorer.graph.units import System
from reports.formatting import Amount
from reports.options import SYSTEMS

SIGNS = {"pass": "✓", "fail": "✗", "undecided": "?"}


@dataclass(frozen=True)
class Strong:
    """Words that carry the sentence."""

    kind: ClassVar[str] = "strong"
    text: str


@dataclass(frozen=True)
class Quiet:
    """Words of lesser weight: units, notes, what is not given."""

    kind: ClassVar[str] = "quiet"
    text: str | Amount


@dataclass(frozen=True)
class Code:
    """A name or a command to be typed as it stands."""

    kind: ClassVar[str] = "code"
    text: str


@dataclass(frozen=True)
class Link:
    """A way to another section of the report."""

    kind: ClassVar[str] = "link"
    text: str
    target: str


@dataclass(frozen=True)
class Verdict:
    """pass, fail or undecided, always as a word with its sign."""

    kind: ClassVar[str] = "verdict"
    word: str

    @property
    def sign(self) -> str:
        """A shape of its own for each verdict, so that none is told by colour alone."""
        return SIGNS.get(self.word, "")


@dataclass(frozen=True)
class Safety:
    """Mark of a limit on which someone's safety rests."""

    kind: ClassVar[str] = "safety"


Part: TypeAlias = str | Amount | Strong | Quiet | Code | Link | Verdict | Safety
Line: TypeAlias = tuple[Part, ...]


@dataclass(frozen=True)
class Paragraph:
    """One paragraph; one that is an ``aside`` explains a picture, and is left out where none is drawn."""

    kind: ClassVar[str] = "paragraph"
    line: Line
    lead: bool = False
    aside: bool = False


@dataclass(frozen=True)
class Heading:
    """A heading inside a section."""

    kind: ClassVar[str] = "heading"
    text: str
    anchor: str = ""


@dataclass(frozen=True)
class Bullets:
    """A list, numbered where the order matters; as an ``aside`` it is for reading at leisure."""

    kind: ClassVar[str] = "bullets"
    items: tuple[Line, ...]
    numbered: bool = False
    aside: bool = False


@dataclass(frozen=True)
class Note:
    """A paragraph set apart: what a reader must not miss."""

    kind: ClassVar[str] = "note"
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
class Table:
    """A table whose first column names the row; one that is an ``aside`` is for looking things up."""

    kind: ClassVar[str] = "table"
    name: str
    caption: str
    columns: tuple[Column, ...]
    rows: tuple[tuple[Cell, ...], ...]
    sortable: bool = True
    small: bool = False
    aside: bool = False


@dataclass(frozen=True)
class Facts:
    """Names with what they stand for."""

    kind: ClassVar[str] = "facts"
    pairs: tuple[tuple[str, Line], ...]


@dataclass(frozen=True)
class Figure:
    """A chart, as a Vega-Lite specification for each system of units, or a drawing, as SVG for each.

    ``alternative`` says in words what the picture shows; ``caption`` the number to take from it; ``signs``
    are the lines that draw it where there are letters only.  ``draw`` makes the charts when they are asked
    for.
    """

    kind: ClassVar[str] = "figure"
    name: str
    title: str
    alternative: tuple[str | Amount, ...]
    caption: Line = ()
    draw: Callable[[], tuple[Mapping[str, Any], ...]] = tuple
    drawings: tuple[str, ...] = ()
    wide: bool = True
    numbers: Table | None = None
    signs: tuple[Line, ...] = ()

    @cached_property
    def charts(self) -> tuple[Mapping[str, Any], ...]:
        """One specification for each of ``SYSTEMS``; empty for a drawing."""
        return self.draw()

    def spoken(self, system: System) -> str:
        """Return what the picture shows, in the units of a system."""
        return "".join(part if isinstance(part, str) else part.text(system) for part in self.alternative)


@dataclass(frozen=True)
class Gallery:
    """Small figures side by side."""

    kind: ClassVar[str] = "gallery"
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
class Answers:
    """The questions a review opens with."""

    kind: ClassVar[str] = "answers"
    items: tuple[Answer, ...]


@dataclass(frozen=True)
class Signatures:
    """Empty lines to sign on."""

    kind: ClassVar[str] = "signatures"
    roles: tuple[str, ...]


@dataclass(frozen=True)
class Controls:
    """A part of the page that works only there; ``data`` is what it works with."""

    kind: ClassVar[str] = "controls"
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


def in_each_system(
    chart: Callable[[System], Mapping[str, Any]],
) -> Callable[[], tuple[Mapping[str, Any], ...]]:
    """Make what draws a figure of what draws it in one system of units."""
    return lambda: tuple(map(chart, SYSTEMS))


def cell(*line: Part, order: float | str | None = None) -> Cell:
    """Write a cell from its parts."""
    return Cell(line, order)
