"""Where each key of a TOML text stands, so that a message can show the line.

A key is written as in messages: the names of its tables and its own with dots between, the place in a list in
square brackets, counted from 1.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from contextlib import suppress
from pathlib import Path

from explorer.errors import SquatlineError

MOST_SHOWN = 100
_TOKEN = re.compile(
    r'''(?P<text>"""(?:\\.|[^\\])*?"{3,5}|"(?:\\.|[^"\\\n])*"|'{3}.*?'{3,5}|'[^'\n]*')'''
    r"""|(?P<comment>\#[^\n]*)|(?P<sign>[\n\[\]{}=,.])|(?P<bare>[^\s\[\]{}=,.\#"']+)""",
    re.DOTALL,
)
# Messages put the name of a limit behind its place.
_NAMED = re.compile(r"\] \(.*\)")
_LAST_PART = re.compile(r"(?:\.[^.\[\]]*|\[[^\[\]]*\]|^[^.\[\]]+|.)$", re.DOTALL)


def lines_of_keys(text: str) -> dict[str, int]:
    """Return the line, counted from 1, that each key of a valid TOML text stands in."""
    return _Reader(text).lines


def place(error: SquatlineError, text: str) -> SquatlineError:
    """Fill in the line that the key of an error, or the nearest table around it, stands in."""
    if error.line is None and error.key:
        lines, key = lines_of_keys(text), _NAMED.sub("]", error.key)
        while key and key not in lines:
            key = _LAST_PART.sub("", key)
        if key:
            error.line, error.text = lines[key], line_of(text, lines[key])
    return error


def placed(error: SquatlineError) -> SquatlineError:
    """Fill in the line of each error that names a study file and a key in it, where the file can be read."""
    from explorer.study.text import STUDY

    for one in error.each:
        if one.line is None and one.key and (one.file or "").endswith(".toml"):
            with suppress(SquatlineError):
                place(one, STUDY.text(Path(one.file or "")))
    return error


def line_of(text: str, line: int) -> str:
    """Return a line of a text as a message shows it."""
    shown = text.split("\n")[line - 1].strip()
    return shown if len(shown) <= MOST_SHOWN else f"{shown[: MOST_SHOWN - 3]}..."


class _Reader:
    """Goes through the tokens of a text once; what is no TOML ends it early."""

    def __init__(self, text: str) -> None:
        self.lines: dict[str, int] = {}
        self._tables: dict[str, int] = {}  # place of the last table in each list of them
        self._tokens = _tokens(text)
        self._next: tuple[str, str, int] = ("", "", 0)
        self._go_on()
        with suppress(StopIteration):
            self._file()

    def _go_on(self) -> None:
        self._next = next(self._tokens, ("end", "", self._next[2]))

    def _take(self) -> tuple[str, str, int]:
        taken = self._next
        if taken[0] == "end":
            raise StopIteration
        self._go_on()
        return taken

    def _at(self, *signs: str) -> bool:
        return self._next[0] in ("sign", "end") and self._next[1] in signs

    def _file(self) -> None:
        under = ""
        while True:
            if self._at("\n"):
                self._take()
            elif self._at("["):
                self._take()
                listed = self._at("[")
                if listed:
                    self._take()
                under = self._heading(listed)
            else:
                self._entry(under)

    def _heading(self, listed: bool) -> str:
        names, line = self._names("]")
        under = ""
        for place, name in enumerate(names, 1):
            under = f"{under}.{name}" if under else name
            last = place == len(names)
            if listed and last:
                self.lines.setdefault(under, line)
                self._tables[under] = self._tables.get(under, 0) + 1
            if under in self._tables:
                under = f"{under}[{self._tables[under]}]"
            self.lines.setdefault(under, line)
        while not self._at("\n", ""):
            self._take()
        return under

    def _names(self, end: str) -> tuple[list[str], int]:
        """Read a key up to the sign that ends it: its parts, and the line it begins in."""
        names, line = [], self._next[2]
        while not self._at(end):
            kind, word, _ = self._take()
            if kind == "text":
                names.append(word[1:-1])
            elif kind == "bare":
                names.append(word)
        self._take()
        return names, line

    def _entry(self, under: str) -> None:
        names, line = self._names("=")
        for name in names:
            under = f"{under}.{name}" if under else name
            self.lines.setdefault(under, line)
        self._value(under)

    def _value(self, key: str) -> None:
        if self._at("[", "{"):
            _, sign, _ = self._take()
            self._list(key) if sign == "[" else self._table(key)
        while not self._at("\n", ",", "]", "}", ""):
            self._take()

    def _list(self, key: str) -> None:
        place = 0
        while not self._at("]"):
            if self._at("\n", ","):
                self._take()
                continue
            place += 1
            self.lines.setdefault(f"{key}[{place}]", self._next[2])
            self._value(f"{key}[{place}]")
        self._take()

    def _table(self, key: str) -> None:
        while not self._at("}"):
            if self._at("\n", ","):
                self._take()
            else:
                self._entry(key)
        self._take()


def _tokens(text: str) -> Iterator[tuple[str, str, int]]:
    """Give each token's kind, itself and its line, comments left out."""
    line, end = 1, 0
    for found in _TOKEN.finditer(text):
        line += text.count("\n", end, found.start())
        end = found.start()
        if found.lastgroup and found.lastgroup != "comment":
            yield found.lastgroup, found[0], line
