"""Move a limit, shift or sharpen an input, and see what becomes of every verdict: on the page only."""

from __future__ import annotations

from reports.blocks import Controls, Paragraph, Section
from reports.formatting import count
from reports.report import Report
from reports.whatif import payload


def build(report: Report) -> Section | None:
    """Build the controls, when the run kept its samples."""
    data = payload(report)
    if data is None:
        return None
    words = (
        f"The page has {count(data['samples'])} cars of the run. Move a limit; shift one of the inputs "
        "that matter most, or make it better known: cars that fit the change then count for more, the "
        "others for less. No model is run again, so this is for finding out what is worth a new run. The "
        "further you go, the fewer cars are left to count; a slider stops where too few are left to answer."
    )
    return Section("whatif", "What if", (Paragraph((words,)), Controls("whatif.html", data)), printed=False)
