"""The terminal: the blocks of page and paper drawn with letters, in colour only where there is any.

Pictures are told by their captions, or drawn with signs; what explains them, or is for looking things up, is
left to page and paper.
"""

from __future__ import annotations

import os
import re
from collections.abc import Iterable, Iterator, Sequence

from rich import box
from rich.console import Console, ConsoleOptions, RenderableType, RenderResult
from rich.padding import Padding
from rich.segment import Segment
from rich.table import Table as Grid
from rich.text import Text

from explorer.graph.written import SPACE, System
from reports.blocks import (
    Answers,
    Block,
    Bullets,
    Code,
    Facts,
    Figure,
    Gallery,
    Heading,
    Line,
    Link,
    Note,
    Paragraph,
    Part,
    Quiet,
    Safety,
    Section,
    Strong,
    Table,
    Verdict,
)
from reports.formatting import THIN_SPACE, Amount
from reports.screen import Screen

#: Wide enough for the tables when the output goes to a file.
FILE_WIDTH = 140
STYLES = {"pass": "green", "fail": "bold red", "undecided": "yellow"}
# A column is given room for so many letters before its words are broken into lines.
_ROOMY = 20
# The library breaks lines at any space: those that must hold stand as signs of nobody's until it has done so.
_HELD = "\ue000"
_UNBROKEN = 60
# The space between a number and its unit in words that were written elsewhere.
_BEFORE_UNIT = re.compile(
    r"(?<=\d) (?=(?:%|°C|mm|cm|m|km|kg|g|s|ms|N|N·mm?|N/mm|m/s|km/h|m²|W|kW|V|A|Pa|hPa|MPa|GPa)(?![\w/·]))"
)


def screen() -> Console:
    """Return a console that shows colour only on a terminal, and is as wide as it or COLUMNS says."""
    console = Screen()
    return console if console.is_terminal or "COLUMNS" in os.environ else Screen(width=FILE_WIDTH)


def show(sections: Iterable[Section | None], console: Console | None = None) -> None:
    """Print sections, one after the other; those that are None have nothing to say."""
    console = console or screen()
    for section in sections:
        if section is not None:
            console.print(Text(f"\n{section.title}", style="bold underline"))
            show_blocks(section.blocks, console)


def show_blocks(blocks: Iterable[Block], console: Console | None = None) -> None:
    """Print blocks, one after the other."""
    console = console or screen()
    for block in blocks:
        for drawn in _drawn(block, console.width):
            console.print(_Unheld(drawn))


def words(line: Line, system: System = "as given") -> str:
    """Return a line as plain text."""
    return "".join(text for text, _ in _parts(line, system)).replace(_HELD, " ")


class _Unheld:
    """Something drawn, with plain spaces put back after the lines were broken."""

    def __init__(self, inner: RenderableType) -> None:
        self.inner = inner

    def __rich_console__(self, console: Console, options: ConsoleOptions) -> RenderResult:
        for segment in console.render(self.inner, options):
            yield Segment(segment.text.replace(_HELD, " "), segment.style, segment.control)


def _text(line: Line, style: str = "") -> Text:
    text = Text(style=style)
    for plain, of_part in _parts(line):
        text.append(_held(plain), of_part)
    return text


def _parts(line: Line, system: System = "as given") -> Iterator[tuple[str, str]]:
    """Give the letters of each part of a line, and their style."""
    begun = ""
    for part in line:
        text, style = _part(part, system)
        # What stands smaller, on a line of its own, on paper is set apart by a space.
        if isinstance(part, Quiet):
            text = f"{' ' if begun else ''}{text.lstrip()}"
        yield text, style
        begun += text


def _part(part: Part, system: System) -> tuple[str, str]:
    match part:
        case Amount():
            return part.text(system), ""
        case Strong(text):
            return text, "bold"
        case Quiet(text):
            return _part(text, system)[0], "dim"
        case Code(text):
            # A command is typed as a whole; only one too long for a line is broken.
            return text.replace(" ", _HELD) if len(text) <= _UNBROKEN else text, ""
        case Link(text):
            return text, ""
        case Verdict(word):
            return f"{part.sign}{SPACE}{word}", STYLES.get(word, "")
        case Safety():
            return "(safety)", ""
    return str(part), ""


def _held(text: str) -> str:
    text = _BEFORE_UNIT.sub(_HELD, text)
    return text.replace(SPACE, _HELD).replace(THIN_SPACE, _HELD)


def _begun(text: str) -> str:
    return text[:1].upper() + text[1:]


def _drawn(block: Block, width: int) -> Iterator[RenderableType]:
    match block:
        case Paragraph():
            if not block.aside:
                yield _text(_flowing(block.line), style="bold" if block.lead else "")
        case Heading():
            yield Text(_begun(block.text), style="bold")
        case Bullets():
            if block.aside:
                return
            marks = [f"{place}." if block.numbered else "-" for place in range(1, len(block.items) + 1)]
            yield _marked(marks, map(_text, block.items))
        case Note():
            yield _text((Strong(f"! {block.title}. "), *block.line))
        case Table():
            yield from () if block.aside else _table(block, width)
        case Facts():
            yield _marked([name for name, _ in block.pairs], (_text(line) for _, line in block.pairs))
        case Figure():
            yield _text((Strong(f"{_begun(block.title)}: "), *block.caption))
            for line in block.signs:
                signs = _text(line)
                signs.no_wrap, signs.overflow = True, "ignore"
                yield signs
        case Gallery():
            for figure in block.figures:
                yield from _drawn(figure, width)
        case Answers():
            for answer in block.items:
                verdict: Line = (answer.verdict, " ") if answer.verdict else ()
                yield _text((Strong(f"{answer.question} "), *verdict, answer.answer))
                yield _marked(["-"] * len(answer.why), map(_text, answer.why))


def _flowing(line: Line) -> Line:
    """Take the ends of lines of a builder's own words out of them."""
    return tuple(re.sub(r"\s*\n\s*", " ", part) if isinstance(part, str) else part for part in line)


def _marked(marks: Sequence[str], lines: Iterable[RenderableType]) -> Padding:
    """Set each line behind its mark; what does not fit goes on below its beginning."""
    grid = Grid.grid(padding=(0, 1))
    grid.add_column(max_width=max(map(len, marks), default=1))
    for mark, line in zip(marks, lines, strict=True):
        grid.add_row(mark, line)
    return Padding(grid, (0, 0, 0, 2), expand=False)


def _longest_word(text: str) -> int:
    return max(map(len, text.split()), default=0)


def _table(block: Table, width: int) -> Iterator[RenderableType]:
    """Draw a table in columns where they have room, else a row after the other."""
    rows = [[_text(cell.line) for cell in row] for row in block.rows]
    titles = [_held(column.title) for column in block.columns]
    yield Text(_held(block.caption), style="italic")
    # No name that one has to type is ever broken.
    unbroken = [
        max(map(_longest_word, [title, *(row[place].plain for row in rows)]))
        for place, title in enumerate(titles)
    ]
    needed = [
        max([longest, *(min(row[place].cell_len, _ROOMY) for row in rows)])
        for place, longest in enumerate(unbroken)
    ]
    if sum(needed) + 3 * len(needed) <= width:
        grid = Grid(box=box.SIMPLE_HEAD)
        for title, column, longest in zip(titles, block.columns, unbroken, strict=True):
            grid.add_column(Text(title), justify="right" if column.number else "left", min_width=longest)
        for row in rows:
            grid.add_row(*row)
        yield grid
        return
    # A number alone names no row.
    named = 2 if block.columns[0].number else 1
    for row in rows:
        yield Text(" ").join(row[:named])
        said = [(title, cell) for title, cell in zip(titles, row, strict=True) if cell.plain][named:]
        yield _marked([title for title, _ in said], (cell for _, cell in said))
