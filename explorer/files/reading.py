"""Files that others wrote: ordinary ones only, read no further than a bound, every fault told."""

from __future__ import annotations

import stat
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from explorer.errors import SquatlineError, StudyError

_ELSE = {
    stat.S_IFDIR: "a folder",
    stat.S_IFIFO: "a named pipe",
    stat.S_IFCHR: "a device",
    stat.S_IFBLK: "a device",
    stat.S_IFSOCK: "a socket",
}


@dataclass(frozen=True)
class Source:
    """Where a log comes from: file, date, SHA-256 digest, and whether it was made, not measured."""

    file: str
    date: str
    sha256: str
    synthetic: bool = False

    @property
    def text(self) -> str:
        """One line for the source of an input."""
        kind = "synthetic log (made, not measured)" if self.synthetic else "log"
        return f"{kind} {self.file}, {self.date}, sha256 {self.sha256[:12]}"


@dataclass(frozen=True)
class Wanted:
    """What a file is read as.

    Attributes
    ----------
    what:
        In words that follow "the".
    largest:
        The most bytes it may have.
    missing, otherwise:
        What to do when it is not there, and when it is no text or is too large.
    raising:
        Error of the project for it.
    """

    what: str
    largest: int
    missing: str = "give the path from the folder of the study"
    otherwise: str = "is it the right file?"
    raising: type[SquatlineError] = StudyError

    def size(self, path: Path, named: str | None = None) -> int:
        """Return the size of an ordinary file that is not too large.

        Parameters
        ----------
        named:
            What the file is called in messages; by default its whole path.

        Raises
        ------
        SquatlineError
            For a path that leads nowhere, to a folder, a pipe or a device, and for a file that is too large.
        """
        try:
            with self.told(path, named):
                found = path.stat()
        except ValueError:
            # With a NUL in it, or with what the system's encoding has no bytes for.
            raise self.raising(
                f"the {self.what} cannot be read",
                found=f"{str(path)!r}, which no file can be called",
                remedy=self.missing,
            ) from None
        kind = stat.S_IFMT(found.st_mode)
        if kind != stat.S_IFREG:
            raise self.raising(
                f"the {self.what} is no ordinary file",
                file=named or str(path),
                found=_ELSE.get(kind, "something else"),
                allowed="an ordinary file, since a pipe or a device may never end",
                remedy=self.missing,
            )
        if found.st_size > self.largest:
            raise self.raising(
                f"the {self.what} is too large",
                file=named or str(path),
                found=megabytes(found.st_size),
                allowed=f"up to {megabytes(self.largest)}",
                remedy=self.otherwise,
            )
        return found.st_size

    def read(self, path: Path, named: str | None = None) -> bytes:
        """Return what such a file holds; raises as ``size`` does."""
        size = self.size(path, named)
        with self.told(path, named), path.open("rb") as file:
            # Files of the system give their size as zero and may still have no end.
            return file.read(size) if size else b""

    def text(self, path: Path, named: str | None = None) -> str:
        """Return the UTF-8 text of such a file; raises as ``size`` does."""
        try:
            return self.read(path, named).decode("utf-8-sig")
        except UnicodeDecodeError as error:
            raise self.raising(
                f"the {self.what} is not UTF-8 text",
                file=named or str(path),
                found=f"byte {error.object[error.start]:#04x} at position {error.start}",
                allowed="text saved as UTF-8",
                remedy="save it as UTF-8 in the editor, as 'CSV UTF-8' in the spreadsheet",
            ) from None

    @contextmanager
    def told(self, path: Path, named: str | None = None) -> Iterator[None]:
        """Tell what the system says of a path inside as an error of the project."""
        try:
            yield
        except OSError as error:
            there = not isinstance(error, FileNotFoundError)
            # A study's text reads \\n and \\t in a path as the end of a line and a tab.
            name = (named or str(path)).replace("\n", "\\n").replace("\t", "\\t")
            raise self.raising(
                f"the {self.what} cannot be read" if there else "there is no such file",
                file=name,
                found=error.strerror if there else None,
                remedy="write / in place of \\ in the path" if "\\" in name else self.missing,
            ) from None


def megabytes(size: int) -> str:
    """Write a size in megabytes, with as many digits as tell it."""
    return f"{size / 1e6:.3g} MB" if size < 1e9 else f"{size / 1e6:,.0f} MB".replace(",", " ")
