"""The command that opens the desk: the study as a page, for who dislikes terminals and text files."""

from __future__ import annotations

import signal
import sys
from importlib.util import find_spec
from pathlib import Path
from typing import Annotated

import typer

from explorer.console.telling import say
from explorer.errors import SquatlineError

_LIBRARIES = ("starlette", "uvicorn", "python_multipart")


def desk(
    study: Annotated[
        Path,
        typer.Argument(help="Folder with a study.toml, or one to begin a study in.", show_default=False),
    ],
    port: Annotated[
        int,
        typer.Option(
            min=0, max=65535, metavar="<number>", help="Port to listen at; any free one by default."
        ),
    ] = 0,
    browser: Annotated[bool, typer.Option(help="Open the page in the browser.")] = True,
) -> None:
    """Work on a study in the browser.

    Change it, watch its limits, save it, write the packet. The page is served on this machine
    only, and stops with this command (ctrl-C).
    """
    missing = [name for name in _LIBRARIES if find_spec(name) is None]
    if missing:
        raise SquatlineError(
            "the desk needs libraries that are not installed",
            found=", ".join(missing),
            remedy="pip install 'squatline[desk]'",
        )
    from explorer.desk.server import serve

    def announce(address: str) -> None:
        say(f"the desk is at {address}\nit is for this machine only; ctrl-C stops it")
        if browser:
            import webbrowser

            webbrowser.open(address)

    # The server ends by the signal that ended it: as an exit that lets workers go, not in the middle.
    signal.signal(signal.SIGTERM, lambda number, _: sys.exit(128 + number))
    serve(study, announce, port=port)
