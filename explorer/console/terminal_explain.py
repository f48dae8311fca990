"""What ``squatline explain`` prints: subjects, quantities found, and the entry of one."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from rich.box import SIMPLE_HEAD
from rich.table import Table
from rich.text import Text

from explorer.console.search import MOST_FOUND, PhysicsSubject
from explorer.console.terminal import difference_shown, shown
from explorer.graph.units import allowed_units, display_unit, pretty
from reports.formatting import chance, hours
from reports.terminal import screen


def show_subjects(subjects: Sequence[PhysicsSubject]) -> None:
    """Print the parts of the physics, and how to go on."""
    out = screen()
    for one in subjects:
        out.print(Text(f"{one.name}: {one.words}", style="bold"))
        out.print(Text("  " + ", ".join(one.files)))
    out.print(
        "'squatline explain WORDS' looks up a subject, a quantity or words of the workshop, such as "
        "'rear spring', scrape, vmax or N/mm; --all lists every quantity"
    )


def show_found(words: str, entries: Sequence[dict[str, Any]]) -> None:
    """Print what some words may mean, the likeliest first."""
    show_quantities(entries[:MOST_FOUND])
    more = f" (the likeliest of {len(entries)})" if len(entries) > MOST_FOUND else ""
    screen().print(Text(f"found by {words!r}{more}; 'squatline explain NAME' says more"))


def show_quantities(entries: Sequence[dict[str, Any]]) -> None:
    """Print a table of quantities, in the units a workshop reads."""
    table = Table(box=SIMPLE_HEAD)
    for heading in ("quantity", "unit", "subject", "", "what it is"):
        table.add_column(heading, no_wrap=heading == "quantity")
    for entry in entries:
        kind = "given" if entry["given"] else "computed"
        unit = pretty(display_unit(entry["unit"], "metric"))
        table.add_row(entry["name"], unit, entry["subject"], kind, Text(entry["summary"]))
    screen().print(table)


def show_explanation(entry: dict[str, Any]) -> None:
    """Print what a quantity is and its values."""
    out = screen()
    unit = display_unit(entry["unit"], "metric")
    out.print(Text(f"{entry['name']} [{pretty(unit) or 'pure number'}]", style="bold"))
    out.print(Text(entry["summary"]))
    if entry["members"]:
        out.print(Text(f"one for each of the family: {', '.join(entry['members'])}; the first is shown"))
    if entry["description"]:
        out.print(Text(entry["description"]))
    if entry["given"]:
        silent = shown(entry["default"], unit) if entry["default"] is not None else ""
        default = f"; {silent} when the study is silent" if silent else ""
        out.print(Text(f"given by the study; allowed: {entry['allowed']}{default}"))
        out.print(Text(f"written in {allowed_units(entry['unit'])}"))
    else:
        out.print(Text(f"computed in {entry['subject']} from: {', '.join(entry['needs']) or 'nothing'}"))
    if entry["lever"]:
        out.print(Text(f"a builder can set it; a sensible step is {entry['lever']}"))
    for line in _at_home(entry["usual"], entry["measured_by"]):
        out.print(Text(line))
    for label, key in (("source", "source"), ("no answer means", "no_answer_means")):
        if entry[key]:
            out.print(Text(f"{label}: {entry[key]}"))
    if entry["used_by"]:
        out.print(Text(f"needed for: {', '.join(entry['used_by'])}"))
    for row in entry.get("values", ()):
        out.print(Text(f"{row['condition']}: {_value_words(row)}"))


def _value_words(row: dict[str, Any]) -> str:
    if "missing" in row:
        return f"cannot be computed; missing {row['missing']}"
    unit = row["display_unit"]
    words = shown(row["nominal"], unit) + " nominal"
    if row.get("sd"):
        low, high = (shown(row[end], unit, row["sd"]) for end in ("low", "high"))
        words += f"; mean {shown(row['mean'], unit, row['sd'])}"
        words += f", standard uncertainty {difference_shown(row['sd'], unit, row['sd'])}"
        words += f", 90 % between {low} and {high}"
    if row["failed_share"] > 0:
        words += f"; no answer in {chance(row['failed_share'])} of samples"
    return words + (f" (given as {row['given_as']})" if "given_as" in row else "")


def _at_home(usual: Mapping[str, str | None] | None, methods: Sequence[Mapping[str, Any]]) -> Iterator[str]:
    """Say what is usual of such cars, and how the value is measured at home."""
    if usual is not None:
        typical = f", {usual['typical']} being typical" if usual["typical"] else ""
        drawn = '; written "usual", it is drawn from there' if usual["typical"] else ""
        yield f"usual: {usual['low']} to {usual['high']}{typical} ({usual['source']}){drawn}"
    for one in methods:
        yield f"measured by {one['method']}, {hours(one['hours'])} (judgement): {one['how']}"
