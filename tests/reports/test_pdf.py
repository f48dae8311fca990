"""The printed form: tagged, outlined, the same bytes every time, and every verdict can be read out of it."""

from __future__ import annotations

import io
import json
import subprocess
import sys
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from reports import ReportOptions, render
from reports import document as document_module
from reports.document import document
from reports.report import Report
from reports.sections import sections
from reports.sections.actions import action_lines
from tests.report_fixture import HOSTILE, hostile_results, make_results
from tests.reports.test_content import HEAVY


def drawn(**options: Any) -> bytes:
    report = Report(make_results(), ReportOptions(**options))
    return document(report, sections(report))


@pytest.fixture(scope="module")
def pdf() -> bytes:
    return drawn()


@pytest.fixture(scope="module")
def pages(pdf: bytes) -> Any:
    from pypdf import PdfReader

    return PdfReader(io.BytesIO(pdf))


def text_of(pages: Any) -> str:
    return " ".join(" ".join(page.extract_text() for page in pages.pages).split())


def test_every_verdict_can_be_read_out(pages: Any) -> None:
    text = text_of(pages)
    for limit in make_results().summary.limits:
        assert limit.name in text
        assert f"{limit.conformance.verdict}" in text
    assert text.count("undecided") >= 2


def test_the_first_page_answers_the_three_questions(pages: Any) -> None:
    first = " ".join(pages.pages[0].extract_text().split())
    for words in (
        "May we run it?",
        "DO NOT RUN",
        "May we build it?",
        "Not as it stands",
        "What next?",
    ):
        assert words in first
    assert "splitter pitch slope" in first


def test_it_is_tagged_and_says_what_it_claims_to_be(pages: Any) -> None:
    """ISO 14289-1:2014, clauses 5, 7.1 and 7.2: part 1 named in XMP, title shown, language, marked."""
    root = pages.trailer["/Root"]
    assert root["/MarkInfo"]["/Marked"]
    assert root["/Lang"] == "en"
    assert root["/ViewerPreferences"]["/DisplayDocTitle"]
    assert root["/StructTreeRoot"]
    metadata = root["/Metadata"].get_object().get_data().decode()
    assert 'pdfuaid:part="1"' in metadata or "<pdfuaid:part>1<" in metadata
    assert pages.metadata.title == "Invented sprint car, one flap"


def test_its_subject_is_one_line() -> None:
    results = make_results()
    told = replace(results, summary=replace(results.summary, description="May it\n  run?\n"))
    head = document_module._html(Report(told), (), {}).partition("</head>")[0]
    assert '<meta name="description" content="May it run?">' in head


def test_pictures_have_words(pages: Any) -> None:
    found: list[str] = []
    seen: set[int] = set()

    def walk(node: Any) -> None:
        node = node.get_object() if hasattr(node, "get_object") else node
        if isinstance(node, list):
            for kid in node:
                walk(kid)
        elif hasattr(node, "get") and id(node) not in seen:
            seen.add(id(node))
            if node.get("/S") == "/Figure":
                found.append(str(node.get("/Alt", "")))
            if "/K" in node:
                walk(node["/K"])

    walk(pages.trailer["/Root"]["/StructTreeRoot"]["/K"])
    assert len(found) > 8
    assert all(len(words) > 20 for words in found)


def test_the_outline_lists_the_sections(pages: Any) -> None:
    def titles(entries: Any) -> list[str]:
        return [t for e in entries for t in (titles(e) if isinstance(e, list) else [str(e.title)])]

    found = titles(pages.outline)
    expected = [section.title for section in sections(Report(make_results())) if section.printed]
    assert [title for title in found if title in expected] == expected


@pytest.mark.long
def test_the_same_results_give_the_same_bytes_in_another_process(pdf: bytes, tmp_path: Path) -> None:
    root = Path(__file__).resolve().parents[2]
    program = (
        "from tests.reports.test_pdf import drawn; from pathlib import Path; import sys; "
        "Path(sys.argv[1]).write_bytes(drawn())"
    )
    target = tmp_path / "again.pdf"
    subprocess.run([sys.executable, "-c", program, str(target)], check=True, cwd=root)
    assert target.read_bytes() == pdf


@pytest.mark.long
def test_the_date_is_that_of_the_results_or_of_the_build(monkeypatch: pytest.MonkeyPatch, pages: Any) -> None:
    """SOURCE_DATE_EPOCH as in the specification of reproducible-builds.org: seconds since 1970, UTC."""
    from pypdf import PdfReader

    assert pages.metadata["/CreationDate"].startswith("D:20260102030405")
    monkeypatch.setenv("SOURCE_DATE_EPOCH", "86400")
    again = PdfReader(io.BytesIO(drawn(leave_out=HEAVY)))
    assert again.metadata is not None
    assert again.metadata["/CreationDate"].startswith("D:19700102000000")


@pytest.mark.long
@pytest.mark.parametrize(("paper", "size"), [("A4", (595, 842)), ("Letter", (612, 792))])
def test_paper(paper: str, size: tuple[int, int]) -> None:
    """ISO 216: A4 is 210 mm by 297 mm; US Letter is 8.5 in by 11 in; a point is 1/72 in."""
    from pypdf import PdfReader

    box = PdfReader(io.BytesIO(drawn(paper=paper, leave_out=(*HEAVY, "inputs")))).pages[0].mediabox
    assert (round(float(box.width)), round(float(box.height))) == size


@pytest.mark.long
def test_hostile_text_is_printed_as_text() -> None:
    from pypdf import PdfReader

    report = Report(hostile_results(), ReportOptions(leave_out=HEAVY))
    found = text_of(PdfReader(io.BytesIO(document(report, sections(report)))))
    assert HOSTILE[:25] in found
    assert "<b>bold</b>" in found


def test_without_the_pdf_library_the_page_is_still_written(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    """What importing the library does where Pango is missing."""
    real = __import__

    def without_pango(name: str, *rest: Any, **named: Any) -> Any:
        if name == "weasyprint":
            raise OSError("cannot load library 'libpango-1.0-0'")
        return real(name, *rest, **named)

    monkeypatch.setattr("builtins.__import__", without_pango)
    monkeypatch.delitem(sys.modules, "weasyprint", raising=False)
    rendered = render(make_results(), tmp_path, options=ReportOptions(leave_out=HEAVY))
    assert list(rendered.paths) == ["html"]
    assert [path.name for path in tmp_path.iterdir()] == ["report.html"]
    (problem,) = rendered.problems
    assert "libpango" in problem
    assert document_module.INSTALL in problem


# Makes the PDF library meet what it meets where Pango is missing, and gives a command.
LACKING = """
import sys
import cffi.api

load = cffi.api.FFI.dlopen


def lacking(self, name, flags=0):
    if name and "pango" in name:
        raise OSError(f"cannot load library '{name}': no such file")
    return load(self, name, flags)


if __name__ == "__main__":
    cffi.api.FFI.dlopen = lacking
    from explorer.console.cli import main

    main()
"""


@pytest.mark.long
def test_without_pango_one_sentence_of_ours_says_what_to_install(
    tmp_path: Path, small_study: Callable[..., Path]
) -> None:
    program = tmp_path / "lacking.py"
    program.write_text(LACKING)
    study = small_study()

    def call(*words: object) -> subprocess.CompletedProcess[str]:
        command = [sys.executable, program, *map(str, words)]
        return subprocess.run(command, capture_output=True, text=True, check=False)

    done = call("run", study, "--json")
    assert done.returncode == 0
    assert json.loads(done.stdout)["problems"] == [done.stderr.strip().removeprefix("! ")]
    assert done.stderr.count("\n") == 1
    assert done.stderr.startswith("! the PDF was not drawn (cannot load library 'libpango")
    assert document_module.INSTALL in done.stderr
    assert (study / "results" / "report.html").exists()
    done = call("report", study / "results")
    assert (done.returncode, done.stdout) == (0, f"{study / 'results' / 'report.html'}\n")
    assert done.stderr.count("\n") == 1
    done = call("report", study / "results", "--pdf")
    assert (done.returncode, done.stdout) == (2, "")
    assert document_module.INSTALL in done.stderr


def test_page_one_holds_picture_decision_car_and_actions_of_many_limits() -> None:
    """Seventeen limits with long names, half of them failing: nothing of page one goes to page two."""
    from pypdf import PdfReader

    results = make_results()
    name = "Front wheels stay down behind another car in the wake"
    limits = tuple(
        replace(results.summary.limits[place % 3], name=f"{name}, number {place}") for place in range(17)
    )
    report = Report(
        replace(results, summary=replace(results.summary, limits=limits, warnings=(), cautions_of_cars=()))
    )
    wanted = ("decision", "actions")
    shown = [section for section in sections(report) if section.id in wanted]
    first, *_ = PdfReader(io.BytesIO(document(report, shown))).pages
    said = " ".join(first.extract_text().split())
    for words in ("DO NOT RUN", "Not as it stands", "number 16", "What next?", "18 answers were"):
        assert words in said


def test_the_last_of_the_first_actions_stands_on_page_one(pages: Any) -> None:
    *_, last = action_lines(Report(make_results()), short=True)[:3]
    said = "".join(part for part in last if isinstance(part, str))
    first = "".join(pages.pages[0].extract_text().split())
    assert "".join(said.split())[:40] in first
