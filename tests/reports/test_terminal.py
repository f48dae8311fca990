"""The terminal draws the blocks of page and paper: narrow or wide, with nothing lost that a table holds."""

from __future__ import annotations

from dataclasses import replace
from io import StringIO
from pathlib import Path

import pytest
from rich.console import Console

from explorer.console.terminal import show_run
from explorer.graph.written import SPACE
from reports.blocks import Code, Column, Figure, Paragraph, Quiet, Section, Table, Verdict, cell
from reports.formatting import NEWTONS, amount
from reports.report import Report
from reports.sections import SECTIONS, candidates, design, speed_steps
from reports.sections.decision import in_short
from reports.terminal import show, show_blocks, words
from tests.report_analyses import with_analyses
from tests.report_fixture import make_results

SHOWN = (
    "decision",
    "verdicts",
    "measuring",
    "candidates",
    "design",
    "speed_steps",
    "validation",
    "fits",
)
TABLE = Table(
    "loads",
    "Loads on the axles.",
    (Column("No.", number=True), Column("Axle"), Column("Load, the car standing still", number=True)),
    (
        (cell("1"), cell("front", Quiet("laden")), cell(amount(23.15, NEWTONS, spread=0.5))),
        (cell("2"), cell("rear"), cell(Verdict("fail"))),
    ),
)


def drawn(*sections: Section | None, width: int) -> str:
    console = Console(file=StringIO(), width=width, highlight=False)
    show(sections, console)
    return console.file.getvalue()  # type: ignore[attr-defined]


def test_no_number_is_parted_from_its_unit() -> None:
    """At every width, in words that were written elsewhere too; words that are no units do wrap."""
    line = ("it was made for 30 m/s to 70 m/s, goes 12.5 mm down, carries 4 N·mm and 95 % of 3 cars",)
    for width in range(24, 60):
        said = drawn(Section("a", "A", (Paragraph(line),)), width=width)
        for pair in ("30 m/s", "70 m/s", "12.5 mm", "4 N·mm", "95 %"):
            assert pair in said, width
    assert any("3\ncars" in drawn(Section("a", "A", (Paragraph(line),)), width=w) for w in range(24, 60))


@pytest.mark.parametrize("width", [60, 80, 140])
def test_no_line_is_wider_than_the_screen(width: int) -> None:
    report = Report(with_analyses())
    text = drawn(*(SECTIONS[name](report) for name in SHOWN), width=width)
    # What is drawn with signs keeps its places; it is 76 letters wide.
    lines = [line.rstrip() for line in text.splitlines()]
    assert max(map(len, lines)) <= max(width, 76)
    for said in ("May we run it?", "✗ fail", "What stands in the way of more"):
        assert said in " ".join(text.split())


def test_a_run_prints_the_decision_first_and_no_name_is_cut() -> None:
    results = with_analyses()
    console = Console(file=StringIO(), width=80, highlight=False)
    show_blocks(in_short(Report(results)), console)
    lines = console.file.getvalue().splitlines()  # type: ignore[attr-defined]
    assert lines[0].startswith("DO NOT RUN (stiffer springs): “Front wheels carry load” is met by")
    assert max(len(line.rstrip()) for line in lines) <= 80
    text = " ".join(" ".join(lines).split())
    for limit in results.summary.limits:
        assert limit.name in text
    assert text.index("What next?") > text.index("May we build it?")
    assert len(lines) < 50


def test_a_command_to_type_is_not_broken() -> None:
    line = ("draw more of them with ", Code("squatline run studies/sprint --samples 110000"), ".")
    for width in range(50, 90):
        drawn_so = drawn(Section("a", "A", (Paragraph(line),)), width=width)
        assert "squatline run studies/sprint --samples 110000" in drawn_so
    assert words(line) == "draw more of them with squatline run studies/sprint --samples 110000."


@pytest.mark.parametrize(("passes", "safe"), [(True, True), (True, False), (False, True)])
def test_a_run_ends_with_what_to_do(
    passes: bool,
    safe: bool,
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setenv("COLUMNS", "80")
    results = make_results()
    limits = tuple(one for one in results.summary.limits if not passes or one.conformance.verdict == "pass")
    limits = tuple(replace(one, safety=one.safety and safe) for one in limits)
    (tmp_path / "report.pdf").touch()
    show_run(replace(results, summary=replace(results.summary, limits=limits)), tmp_path)
    *others, before, last = capsys.readouterr().out.rstrip().splitlines()
    assert max(map(len, (*others, before, last))) <= max(80, len(str(tmp_path / "report.pdf")))
    said = " ".join(f"{before} {last}".split())
    first = (
        "raise the speed in steps"
        if passes and safe
        else "put the new numbers into the study and run it again"
    )
    assert first in " ".join(" ".join((*others[-2:], said)).split())
    assert said.endswith("Run with --details to have more of it here.")


def test_a_comparison_and_an_exploration_say_in_short_what_to_build() -> None:
    report = Report(with_analyses())
    console = Console(file=StringIO(), width=80, highlight=False)
    show_blocks(candidates.in_short(report), console)
    show_blocks([*speed_steps.in_short(report), *design.in_short(report)], console)
    lines = console.file.getvalue().splitlines()  # type: ignore[attr-defined]
    assert lines[0].startswith("1 of 2 candidates meets every limit: stiffer springs.")
    assert len(lines) < 40
    assert max(len(line.rstrip()) for line in lines) <= 80
    text = " ".join(" ".join(lines).split())
    for said in (
        "✗ 78.2 % ✗ 78.2 %",
        "Recommended: stiffer springs.",
        "Do not run the car as it stands: it has not passed “Front wheels carry load”.",
        "all safety limits are met up to 158.4 km/h",
        "“how stiff must the rear spring be” Rear wheel rate: at least 5 N/mm",
        "spring alone: every limit is met from 5 N/mm to 6 N/mm.",
    ):
        assert said in text


def test_a_table_has_columns_where_there_is_room_and_rows_elsewhere() -> None:
    section = Section("loads", "Loads", (TABLE,))
    wide, narrow = drawn(section, width=100), drawn(section, width=30)
    assert any(line.split() == ["1", "front", "laden", "23.15", "N"] for line in wide.splitlines())
    # A number alone names no row.
    assert "1 front laden" in narrow
    assert "23.15 N" in narrow
    for text in (wide, narrow):
        assert "✗ fail" in text


def test_number_and_unit_are_never_parted() -> None:
    line = ("the front axle carries ", amount(23.15, NEWTONS, spread=0.5), " at rest")
    for width in range(25, 40):
        text = drawn(Section("a", "A", (Paragraph(line),)), width=width)
        assert "23.15 N" in text
    assert words(line) == f"the front axle carries 23.15{SPACE}N at rest"


def test_what_explains_pictures_is_left_out_and_charts_are_not_drawn() -> None:
    def never() -> tuple[dict[str, object], ...]:
        raise AssertionError

    blocks = (
        Paragraph(("the dot is the middle car",), aside=True),
        Figure("f", "what it brings", "words", caption=("two hours",), draw=never, signs=("1 |", "  +--")),
    )
    text = drawn(Section("a", "A", blocks), width=80)
    assert "the dot" not in text
    assert "What it brings: two hours" in text
    assert "1 |\n  +--" in text
