"""What several commands share: options and arguments, each said once, and the statuses they end with."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Any

import typer

DONE, NOT_PASSED, WRONG_INPUT, FAULT, INTERRUPTED, UNREAD = 0, 1, 2, 3, 130, 141
# As for wrong input: what was asked for is not all there.
UNFINISHED = WRONG_INPUT
EXIT_STATUS = (
    "Exit status: 0 the command did its work, whatever it found; 1 with --strict, where a limit does not "
    "pass; 2 the input was wrong, or not all that was asked for could be done; 130 interrupted."
)

NUMBER, WORD = "<number>", "<word>"

StudyPath = Annotated[
    Path, typer.Argument(help="Folder with a study.toml, or the file itself.", show_default=False)
]
AsJson = Annotated[bool, typer.Option("--json", help="Print JSON for machines instead of tables.")]
AllowCode = Annotated[
    bool, typer.Option("--allow-code", help="Run the Python file of own quantities that the study names.")
]
Samples = Annotated[
    int | None,
    typer.Option(
        min=100, max=1_000_000_000, metavar=NUMBER, help="Predicted cars to draw instead of the study's own."
    ),
]
Workers = Annotated[
    int | None,
    typer.Option(
        min=1, max=1024, metavar=NUMBER, help="Workers to compute with; one a processor by default."
    ),
]
Engine = Annotated[
    str | None,
    typer.Option(
        help="Where to compute: threads, processes or dask; by default processes where there are several "
        "processors. The numbers are the same.",
        metavar=WORD,
        show_default=False,
    ),
]
Scheduler = Annotated[
    str | None,
    typer.Option(
        help="Address of a Dask scheduler, such as tcp://10.0.0.5:8786; without one, dask starts a cluster "
        "on this machine.",
        metavar="<address>",
        show_default=False,
    ),
]
Fresh = Annotated[bool, typer.Option("--fresh", help="Compute again what an earlier call has finished.")]


Output = Annotated[
    Path | None,
    typer.Option("--output", "-o", help="Folder of the results; 'results' beside the study by default."),
]
Details = Annotated[bool, typer.Option("--details", help="Print more of the report here.")]
NoReport = Annotated[bool, typer.Option("--no-report", help="Leave the data, draw no report.")]


def strict(unless: str) -> Any:
    """Return the option by which a command judges with its exit status what it has found."""
    return typer.Option("--strict", help=f"End with status 1 unless {unless}.")
