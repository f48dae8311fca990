"""The folder of a study's results: one command at a time, and nothing replaced there but what one wrote.

What a command has for itself lies in a hidden folder inside: who is at work, the checkpoint, and files that
are not in their places yet.
"""

from __future__ import annotations

import json
import os
import re
import shlex
import shutil
import socket
import sys
from collections.abc import Callable, Collection, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from explorer.engine.storage import mark_of
from explorer.errors import ResultsError
from explorer.files.writing import put_on_disk, told

# Every file that a command puts into a results folder; ``_is_ours`` knows each by what is in it.
NAMES = (
    "summary.json",
    "timings.json",
    "samples.parquet",
    "candidates.json",
    "candidates.parquet",
    "design.json",
    "highest_speed.json",
    "report.html",
    "report.pdf",
)
HIDDEN = ".squatline"
# How files of ours begin, by their kind.
BEGINNING_OF_JSON = '{\n "written_by": "squatline"'
_BEGINNINGS = {
    ".json": re.compile(re.escape(BEGINNING_OF_JSON).encode()),
    ".html": re.compile(rb'(?s)<!DOCTYPE html>.{,1000}<meta name="generator" content="squatline'),
}
# A PDF says at its end for whom it is; in between it is packed.
_END_OF_PDF = re.compile(rb"/ID ?\[ ?\(squatline ")
_CANNOT_WRITE = "the results cannot be written here"
# What the report and the small files take, at the most.
ROOM_FOR_REPORT = 20_000_000


def marked_json(text: str) -> str:
    """Mark an object in JSON as written by us."""
    rest = text.strip().removeprefix("{")
    return BEGINNING_OF_JSON + ("" if rest.strip() == "}" else ",") + rest


@dataclass(frozen=True)
class ResultsFolder:
    """A results folder that this process has to itself.

    Attributes
    ----------
    tidied:
        What killed commands had left there, and what became of it.
    """

    path: Path
    tidied: tuple[str, ...] = ()

    @property
    def hidden(self) -> Path:
        """Folder for what is no result."""
        return self.path / HIDDEN

    def put(self, files: Mapping[str, Callable[[Path], object]], gone: Collection[str] = ()) -> None:
        """Put files into their places, all or none, however the command ends.

        Parameters
        ----------
        files:
            Name -> function that writes the file it is given.
        gone:
            Names of earlier results that go, unless they are among these files.

        Raises
        ------
        ResultsError
            When the system refuses; what was there is there still.
        """
        fresh = self.hidden / "new"
        with told(_CANNOT_WRITE, self.path):
            try:
                fresh.mkdir(parents=True)
                for name, write in files.items():
                    write(fresh / name)
                    put_on_disk(fresh / name)
                for name in gone:
                    if name not in files and (self.path / name).exists():
                        (fresh / name).touch()
                os.replace(fresh, self.hidden / "ready")
            finally:
                shutil.rmtree(fresh, ignore_errors=True)
            _put_in_place(self.path)


def _put_in_place(folder: Path) -> None:
    """Move files that are ready to their places; an empty one says that the one of its name goes."""
    ready = folder / HIDDEN / "ready"
    for file in ready.iterdir():
        if file.stat().st_size:
            os.replace(file, folder / file.name)
        else:
            (folder / file.name).unlink(missing_ok=True)
            file.unlink()
    ready.rmdir()


@contextmanager
def results_folder(folder: Path, *, new: bool = True, room: int = ROOM_FOR_REPORT) -> Iterator[ResultsFolder]:
    """Have a results folder to oneself, found fit to be written to before anything is computed.

    Parameters
    ----------
    new:
        Whether it may be made.
    room:
        Bytes that will be written, as far as that is known.

    Raises
    ------
    ResultsError
        When something else is in the way, another command is at work there, or it cannot be written.
    """
    _require_fit(folder, new)
    made = not folder.exists()
    with told(_CANNOT_WRITE, folder):
        handle, before = _seized(folder / HIDDEN / "at_work.json")
    try:
        with told(_CANNOT_WRITE, folder):
            os.truncate(handle, 0)
            os.pwrite(handle, json.dumps(_myself()).encode(), 0)
            tidied = tuple(_tidied(folder, before))
            _require_room(folder, room)
        yield ResultsFolder(folder, tidied)
    finally:
        (folder / HIDDEN / "at_work.json").unlink(missing_ok=True)
        os.close(handle)
        _remove_if_empty(folder / HIDDEN)
        if made:
            _remove_if_empty(folder)


def _remove_if_empty(folder: Path) -> None:
    try:
        folder.rmdir()
    except OSError:
        return  # something is in it


def _require_fit(folder: Path, new: bool) -> None:
    """Refuse a folder that holds something else, and files of others where ours would go."""
    if os.path.lexists(folder) and not folder.is_dir():
        raise ResultsError(
            "a file or a link that leads nowhere stands where the folder for the results should be",
            file=str(folder),
            remedy="move it away, or name another folder with --output",
        )
    with told(_CANNOT_WRITE, folder):
        present = set(os.listdir(folder)) if folder.is_dir() else set()
    if not new and NAMES[0] not in present:
        raise ResultsError(
            "this is not a results folder", file=str(folder / NAMES[0]), remedy="run the study first"
        )
    foreign = [name for name in NAMES if name in present and not _is_ours(folder / name)]
    if foreign:
        raise ResultsError(
            "a file that no command has written stands where one of the results goes",
            file=str(folder / foreign[0]),
            remedy="move it away, or name another folder with --output",
        )
    if present and present.isdisjoint({*NAMES, HIDDEN}):
        raise ResultsError(
            "the folder for the results has something else in it",
            file=str(folder),
            allowed="a new folder, an empty one, or one with earlier results",
            remedy="name another folder with --output",
        )


def _is_ours(file: Path) -> bool:
    """Tell by what is in it whether a file is one that a command has written."""
    if file.is_symlink() or not file.is_file():
        return False
    with told("the earlier results cannot be read", file):
        if file.suffix == ".parquet":
            return _has_mark(file)
        with file.open("rb") as data:
            if file.suffix == ".pdf":
                return _END_OF_PDF.search(data.read()) is not None
            return _BEGINNINGS[file.suffix].match(data.read(2000)) is not None


def _has_mark(file: Path) -> bool:
    from pyarrow import ArrowException
    from pyarrow.parquet import read_schema

    try:
        return mark_of(read_schema(file)) is not None
    except ArrowException:
        return False


def _require_room(folder: Path, room: int) -> None:
    there = sum(file.stat().st_size for file in (folder / HIDDEN).rglob("*"))
    free = shutil.disk_usage(folder).free
    if free < room - there:
        raise ResultsError(
            "there is too little room on the disk for the results",
            file=str(folder),
            found=f"{free / 1e6:.0f} MB free",
            allowed=f"about {room / 1e6:.0f} MB",
            remedy="make room, name a folder on another disk with --output, or set keep_samples = false",
        )


def _seized(file: Path) -> tuple[int, str]:
    """Lock the file that says who is at work; return its handle, and what stood in it.

    The system lets go of the lock of a process that is no more, however that ended: what stood there then
    tells of one that was killed.
    """
    import fcntl

    while True:
        file.parent.mkdir(parents=True, exist_ok=True)
        try:
            handle = os.open(file, os.O_RDWR | os.O_CREAT, 0o644)
        except FileNotFoundError:
            continue  # the one that was at work here has just tidied up
        try:
            fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            holder = _read(handle)
            os.close(handle)
            raise ResultsError(
                "another command is at work on these results",
                file=str(file.parent.parent),
                found=_in_words(holder),
                remedy="wait until it has ended, stop it, or name another folder with --output",
            ) from None
        # The one that held it may have removed the file in the meantime: then it locks nothing.
        if file.exists() and os.path.samestat(os.fstat(handle), file.stat()):
            return handle, _read(handle)
        os.close(handle)


def _read(handle: int) -> str:
    return os.pread(handle, 10_000, 0).decode(errors="replace")


def _myself() -> dict[str, str | int]:
    return {
        "command": shlex.join([Path(sys.argv[0]).name, *sys.argv[1:]]),
        "process": os.getpid(),
        "host": socket.gethostname(),
        "since": datetime.now().astimezone().strftime("%Y-%m-%d %H:%M:%S"),
    }


def _in_words(holder: str) -> str:
    try:
        one = json.loads(holder)
        words = f"{one['command']} (process {one['process']} on {one['host']}, since {one['since']})"
    except (ValueError, KeyError, TypeError):
        return "one that does not say which"
    return "".join(character if character.isprintable() else "?" for character in words)


def _tidied(folder: Path, before: str) -> Iterator[str]:
    """Finish or remove what killed commands have left, and say what was done."""
    if before:
        yield f"a command was stopped here before its end: {_in_words(before)}"
    hidden = folder / HIDDEN
    if (hidden / "ready").is_dir():
        _put_in_place(folder)
        yield "results that it had finished were put into their places"
    if (hidden / "new").exists():
        shutil.rmtree(hidden / "new")
        yield "results that it had half written were removed"
    for name in NAMES:
        for half in folder.glob(f".{name}.*.part"):
            half.unlink()
            yield f"a half-written {name} was removed"
