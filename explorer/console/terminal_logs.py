"""What ``run`` prints of a study's logs: whether it explains them, and what fits have changed."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from rich.console import Console
from rich.text import Text


def show_logs(out: Console, extra: Mapping[str, Any]) -> None:
    """Print each run that was held against the study, and the inputs that came from fitted logs."""
    for record in extra.get("validation", ()):
        mark, style = ("✓", "") if record["explains"] else ("✗", "bold red")
        out.print(Text(f"{mark} {record['headline']}", style=style))
    if "fits" in extra:
        out.print(Text(str(extra["fits"]["headline"])))
