"""PDF pages as pictures: none is empty, nothing runs off the paper, no word into another."""

from __future__ import annotations

import re
import shutil
import subprocess
from dataclasses import replace
from itertools import pairwise
from pathlib import Path

import pytest

from reports import render
from reports import sections as sections_module
from reports.blocks import Section
from reports.document import document
from reports.report import Report
from reports.sections import hazards
from tests.report_fixture import make_results

SECTIONS = Path(sections_module.__file__).parent


def _boxes(pdf: bytes) -> str:
    """Return every word with the box that it takes, as poppler tells it."""
    tool = shutil.which("pdftotext")
    assert tool, "pdftotext is part of poppler-utils (Debian: apt install poppler-utils)"
    done = subprocess.run([tool, "-bbox", "-", "-"], input=pdf, capture_output=True, check=True)
    return done.stdout.decode()


def _pages(folder: Path) -> list[tuple[int, int, bytes]]:
    pdf = render(make_results(), folder, forms=("pdf",)).paths["pdf"]
    tool = shutil.which("pdftoppm")
    assert tool, "pdftoppm is part of poppler-utils (Debian: apt install poppler-utils)"
    subprocess.run([tool, "-r", "40", "-gray", str(pdf), str(folder / "page")], check=True)
    return [_grey(path.read_bytes()) for path in sorted(folder.glob("page-*.pgm"))]


def _grey(data: bytes) -> tuple[int, int, bytes]:
    """Read a portable greymap: magic number, width, height, largest value, then one byte a pixel."""
    magic, width, height, _largest, pixels = data.split(maxsplit=4)
    assert magic == b"P5"
    return int(width), int(height), pixels


@pytest.mark.long
def test_no_page_is_empty_and_the_margins_are(tmp_path: Path) -> None:
    pages = _pages(tmp_path)
    assert len(pages) > 4
    for number, (width, height, pixels) in enumerate(pages, 1):
        body = pixels[width * height // 12 : width * height * 11 // 12]
        # The last page may hold a few lines only.
        least = 0.0005 if number == len(pages) else 0.002
        assert sum(level < 128 for level in body) > least * len(body)
        edge = [
            pixels[row * width + column]
            for row in range(height)
            for column in (*range(8), *range(width - 8, width))
        ]
        assert min(edge) > 200


def test_no_title_runs_into_its_page_number_in_the_contents() -> None:
    """Every title of a section as an appendix, with a narrow letter and a wide one: no two words overlap."""
    source = "".join(file.read_text(encoding="utf-8") for file in SECTIONS.glob("*.py"))
    titles = re.findall(r'Section\(\s*"[a-z_]+",\s*"([^"{]+)"', source)
    assert len(titles) > 25
    listed = [Section("decision", "Decision", ())]
    listed += [
        Section(f"s{letter}{place}", f"{letter}. {title}", (), appendix=True)
        for letter in "JM"
        for place, title in enumerate(titles)
    ]
    boxes = _boxes(document(Report(make_results()), listed))
    word = r'<word xMin="(.+?)" yMin="(.+?)" xMax="(.+?)" yMax=".+?">(.+?)</word>'
    lines: dict[str, list[tuple[float, float, str]]] = {}
    for left, top, right, text in re.findall(word, boxes.split("</page>")[0]):
        lines.setdefault(top, []).append((float(left), float(right), text))
    overlaps = [
        (one, other)
        for words in lines.values()
        for one, other in pairwise(sorted(words))
        if other[0] < one[1] - 0.1
    ]
    assert overlaps == []


def test_a_verdict_keeps_within_the_table_of_hazards() -> None:
    """The widest verdict with its frame, on the widest page that is offered."""
    results = make_results()
    limits = tuple(
        replace(limit, safety=True, why="words that want the width of their column " * 3)
        for limit in results.summary.limits
        if limit.conformance.verdict == "undecided"
    )
    report = Report(replace(results, summary=replace(results.summary, limits=limits)))
    drawn = document(report, [Section("decision", "Decision", ()), hazards.build(report)])
    boxes = _boxes(drawn)
    ends = [float(end) for end in re.findall(r'xMax="(\S+)" yMax="\S+">undecided<', boxes)]
    # Paper is 210 mm wide, its margin 16 mm; a frame wants 1.5 mm.
    assert ends
    assert max(ends) < (210 - 16 - 1.5) * 72 / 25.4
