"""Pictures of charts, drawn in this process or in one beside it, while this one goes on.

Begun before the forms are written, so that on two processors a chart costs the reader next to nothing.  What
was drawn for an earlier report is kept by content.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import BrokenExecutor, Executor, Future
from contextlib import contextmanager
from dataclasses import dataclass
from functools import partial
from importlib.metadata import version
from multiprocessing import get_context
from pathlib import Path
from typing import Any, ParamSpec, Protocol, TypeVar

from explorer.engine.processes import default_workers, process_pool
from explorer.errors import RenderError
from explorer.files.characters import visible_data
from explorer.graph.written import System
from reports import vega
from reports.blocks import Figure

P = ParamSpec("P")
T = TypeVar("T")
# A picture or script of more bytes is none that was kept.
MOST_KEPT = 2**24


class Kept(Protocol):
    """Where pieces of work lie by the digest of their content; what cannot be trusted is not there."""

    def read(self, name: str, most: int) -> bytes | None:
        """Return what lies under a name, of so many bytes at most."""

    def write(self, name: str, data: bytes) -> None:
        """Put something under a name."""


@dataclass(frozen=True)
class Pictures:
    """Pictures that are being drawn: each call waits for what it names.

    ``of`` returns the SVG of a figure's chart in the reader's units; ``script`` what makes charts live.  Both
    raise RenderError when the process that they were given to has ended.
    """

    of: Callable[[Figure], str]
    script: Callable[[], str]


@contextmanager
def drawing_beside() -> Iterator[Executor | None]:
    """Start a process to draw charts in, and its engine; None where there is one processor only."""
    if default_workers() < 2:
        yield None
        return
    # A process from scratch: the one that workers come from has loaded much that no picture needs.
    with process_pool(1, get_context("spawn")) as pool:
        pool.submit(vega.start)
        try:
            yield pool
        finally:
            pool.shutdown(cancel_futures=True)


def pictures(
    figures: Sequence[Figure],
    system: System,
    *,
    executor: Executor | None = None,
    live: bool = True,
    kept: Kept | None = None,
) -> Pictures:
    """Begin to draw the charts of some figures.

    Parameters
    ----------
    figures:
        Those that will be asked for.
    system:
        Units to draw them in.
    executor:
        Where to draw; without one, each is drawn here when it is asked for.
    live:
        Whether the script will be asked for too: it is made last, for it takes as long as all charts.
    kept:
        Where what was drawn before lies, and what is drawn now is put.
    """
    drawn = {
        figure.name: _kept_or_begun(kept, executor, vega.svg, visible_data(figure.chart(system)), figure.name)
        for figure in figures
        if figure.draw
    }
    script = _kept_or_begun(kept, executor if live else None, vega.bundle)
    return Pictures(lambda figure: drawn[figure.name](), script)


def _kept_or_begun(
    kept: Kept | None, executor: Executor | None, draw: Callable[..., str], *args: Any
) -> Callable[[], str]:
    """Find what was drawn of the same by the same program and library, else begin to draw it."""
    if kept is None:
        return _begun(executor, draw, *args)
    by = Path(vega.__file__).read_bytes(), version("vl-convert-python"), draw.__name__
    name = hashlib.blake2b(f"{by} {json.dumps(args)}".encode(), digest_size=32).hexdigest()
    if (found := kept.read(name, MOST_KEPT)) is not None:
        return found.decode
    drawn = _begun(executor, draw, *args)

    def result() -> str:
        picture = drawn()
        kept.write(name, picture.encode())
        return picture

    return result


def _begun(
    executor: Executor | None, function: Callable[P, T], *args: P.args, **named: P.kwargs
) -> Callable[[], T]:
    """Begin a call elsewhere and return the way to its result; what ended a process is not done here."""
    if executor is None:
        return partial(function, *args, **named)
    begun: Future[T] = Future()
    try:
        begun = executor.submit(function, *args, **named)
    except BrokenExecutor as ended:
        begun.set_exception(ended)

    def result() -> T:
        try:
            return begun.result()
        except BrokenExecutor:
            raise RenderError(
                "the process that draws the charts has ended before its work was done",
                remedy="look whether memory ran out, then draw the report again with 'squatline report'",
            ) from None

    return result
