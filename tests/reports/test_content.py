"""What the page says, and that nothing but its own programs can run in it."""

from __future__ import annotations

import ast
import base64
import hashlib
import re
import socket
import zlib
from dataclasses import replace
from html.parser import HTMLParser
from pathlib import Path
from string import ascii_uppercase
from typing import Any

import pytest

from explorer.errors import RenderError, ResultsError
from explorer.results.stored import Results
from reports import ReportOptions, render
from reports.blocks import Block, Figure, Gallery, Table
from reports.formatting import SYSTEMS, Amount, share
from reports.options import LOGO
from reports.page import page
from reports.report import Report
from reports.sections import SECTIONS, sections
from tests.report_analyses import with_analyses
from tests.report_fixture import HOSTILE, hostile_results, make_results

ROOT = Path(__file__).parents[2]
PIXEL = base64.b64decode(
    "iVBORw0KGgoAAAANSUhEUgAAAAEAAAABCAYAAAAfFcSJAAAADUlEQVR42mNkYPhfDwAChwGA60e6kgAAAABJRU5ErkJggg=="
)


class Reader(HTMLParser):
    """Collects what a browser would find in a page."""

    def __init__(self, text: str) -> None:
        super().__init__(convert_charrefs=True)
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.texts: list[str] = []
        self.scripts: list[str] = []
        self._inside = ""
        self.source = text
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        """Note an element and its attributes."""
        self.tags.append((tag, dict(attrs)))
        self._inside = tag if tag in ("script", "style") else self._inside
        if tag not in ("span", "strong", "a", "code"):
            self.texts.append(" ")

    def handle_endtag(self, tag: str) -> None:
        """Leave a script, a style or a block."""
        if tag not in ("span", "strong", "a", "code"):
            self.texts.append(" ")
        self._inside = "" if tag == self._inside else self._inside

    def handle_data(self, data: str) -> None:
        """Note text that is seen, and programs."""
        if self._inside == "script":
            self.scripts.append(data)
        elif not self._inside:
            self.texts.append(data)

    @property
    def text(self) -> str:
        """All visible text."""
        return " ".join("".join(self.texts).split())

    def all(self, tag: str) -> list[dict[str, str | None]]:
        """Attributes of every element of a kind."""
        return [attributes for name, attributes in self.tags if name == tag]

    def values(self, attribute: str) -> list[str]:
        """Every value of an attribute."""
        return [str(attributes[attribute]) for _, attributes in self.tags if attribute in attributes]


#: Sections that take long to draw and that most tests have no question about.
HEAVY = ("distributions", "sweeps", "sensitivity", "models")


def written(results: Results, **options: Any) -> Reader:
    report = Report(results, ReportOptions(**options))
    return Reader(page(report, sections(report)))


def said(results: Results, **options: Any) -> Reader:
    """Read a page whose pictures are left blank: they take nine tenths of the time to draw it."""
    report = Report(results, ReportOptions(**options))
    return Reader(
        page(
            report,
            [replace(part, blocks=tuple(map(_undrawn, part.blocks))) for part in sections(report)],
        )
    )


def _undrawn(block: Block) -> Block:
    if isinstance(block, Gallery):
        return replace(block, figures=tuple(_blank(one) for one in block.figures))
    return _blank(block) if isinstance(block, Figure) else block


def _blank(figure: Figure) -> Figure:
    return replace(figure, draw=None, drawings=("",) * len(SYSTEMS))


def drawn(results: Results) -> str:
    report = Report(results)
    return page(report, sections(report))


@pytest.fixture(scope="module")
def text() -> str:
    return drawn(make_results())


@pytest.fixture(scope="module")
def reader(text: str) -> Reader:
    return Reader(text)


@pytest.fixture(scope="module")
def hostile() -> str:
    return drawn(hostile_results())


def test_the_first_section_answers_the_three_questions(reader: Reader) -> None:
    for words in (
        "May we run it?",
        "DO NOT RUN",
        "May we build it?",
        "Not as it stands",
        "What next?",
    ):
        assert words in reader.text


def test_every_limit_stands_in_the_matrix_with_its_verdict(reader: Reader) -> None:
    summary = make_results().summary
    assert {limit.conformance.verdict for limit in summary.limits} == {"pass", "fail", "undecided"}
    matrix = reader.text[reader.text.index("Compliance matrix") :]
    for limit in summary.limits:
        found = limit.conformance
        row = matrix[matrix.index(limit.name) :]
        row = row[: row.index(found.verdict)]
        assert " ".join(share(found.probability, found.low, found.high).split()) in row
        assert len(row) < 250


def test_sections_come_in_the_order_of_a_review(reader: Reader) -> None:
    found = [str(attributes["id"]) for attributes in reader.all("section")]
    assert found == [name for name in SECTIONS if name in found]
    assert {"decision", "verdicts", "hazards", "sweeps", "inputs", "models", "signatures"} <= set(found)


def test_each_purpose_has_its_sections() -> None:
    report = Report(with_analyses(), ReportOptions(purpose="strip"))
    (sheet,) = sections(report)
    text = Reader(page(report, (sheet,))).text
    for words in (
        "DO NOT RUN",
        "all safety limits are met up to",
        "pitch, expected",
        "Stop when",
        "runs out without brakes",
    ):
        assert words in text
    record = sections(Report(make_results()))
    appendices = [section.appendix for section in record]
    # What is for looking up lies behind all that is to be read.
    assert appendices == sorted(appendices)
    assert [section.title[0] for section in record if section.title[1:3] == ". "] == list(ascii_uppercase)[
        : sum(appendices)
    ]
    review = {section.id for section in sections(Report(make_results(), ReportOptions(purpose="review")))}
    assert review == {section.id for section in record} - {"models", "reproduction"}
    with pytest.raises(RenderError, match="record, review, strip"):
        ReportOptions(purpose="poster").checked(())  # type: ignore[arg-type]


def test_only_what_results_rest_on_is_listed(reader: Reader) -> None:
    models = reader.text[reader.text.index("Only what the limits and outputs rest on") :]
    models = models[: models.index("C. Statistics")]
    # The fixture's handbook has an airspeed that none of its limits, outputs or curves needs.
    assert "top speed" in models
    assert "airspeed" not in models


def test_a_missing_source_is_said(reader: Reader) -> None:
    assert "no source given" in reader.text
    assert "where these numbers come from: splitter pitch slope, centre of gravity station" in reader.text


def test_ties_are_said(reader: Reader) -> None:
    assert "Tied for the lead: rear wheel rate and splitter pitch slope" in reader.text


def test_failed_samples_are_said_with_their_cause(reader: Reader) -> None:
    assert "The car has no steady attitude at this speed." in reader.text


def test_no_name_holds_a_sign_of_the_program(reader: Reader) -> None:
    assert any("@" in one.key for one in make_results().summary.inputs)
    # The list of inputs has what is typed beside the label.
    assert "Speed (closed at 45 m/s) speed Invented input speed." in reader.text
    assert not re.search(r"\w@\w|\+-|\d\s?m2\b", reader.text)


def test_a_column_of_different_things_cannot_be_sorted() -> None:
    """Read in metric units; 900 N/mm is neither more nor less than 3 kg."""
    tables = [
        block
        for section in sections(Report(with_analyses()))
        for block in section.blocks
        if isinstance(block, Table) and block.sortable
    ]
    mixed = 0
    for table in tables:
        for place, column in enumerate(table.columns):
            pieces = [piece for row in table.rows for piece in row[place].line[:1]]
            units = {
                piece.text("metric").rpartition("\N{NO-BREAK SPACE}")[2]
                for piece in pieces
                if isinstance(piece, Amount) and "\N{NO-BREAK SPACE}" in piece.text("metric")
            }
            # Margins go by how many of their own spreads they are, which are all of one kind.
            alike = column.mixed or (table.name, column.title) == ("compliance", "Margin")
            assert alike or not column.number or len(units) < 2, (table.name, column.title, units)
            mixed += column.mixed
    assert mixed > 2


def test_links_lead_somewhere_and_ids_are_unique(reader: Reader) -> None:
    ids = reader.values("id")
    assert len(ids) == len(set(ids))
    targets = {value[1:] for value in reader.values("href") if value.startswith("#")}
    assert targets
    assert targets <= set(ids)


def test_every_picture_says_what_it_shows(reader: Reader) -> None:
    pictures = [a for a in reader.all("div") if a.get("role") == "img"]
    assert len(pictures) > 10
    assert all(len(str(a.get("aria-label", ""))) > 20 for a in pictures)


def test_sections_can_be_left_out() -> None:
    found = [a["id"] for a in said(make_results(), leave_out=(*HEAVY, "glossary")).all("section")]
    assert "models" not in found
    assert "glossary" not in found
    assert "verdicts" in found


@pytest.mark.long
def test_units_of_the_whole_page_can_be_chosen() -> None:
    imperial = written(make_results(), units="imperial").text
    assert "lbf" in imperial
    assert not re.search(r"\d\xa0N\b", imperial.split("Inputs and where they come from")[0])


def test_the_policy_allows_only_what_the_page_brings(reader: Reader) -> None:
    policies = [a["content"] for a in reader.all("meta") if a.get("http-equiv") == "Content-Security-Policy"]
    assert len(policies) == 1
    policy = str(policies[0])
    assert policy.startswith("default-src 'none'")
    assert "unsafe" not in policy
    assert "http" not in policy
    assert reader.values("style") == []
    assert not [name for _, a in reader.tags for name in a if name.startswith("on")]


def test_each_script_that_runs_is_named_by_its_fingerprint(text: str) -> None:
    policy = re.search(r'Content-Security-Policy" content="([^"]+)"', text)
    assert policy is not None
    scripts = re.findall(r"<script>(.*?)</script>", text, re.DOTALL)
    assert len(scripts) == 3
    packed = re.search(r'id="chart-library">([^<]+)<', text)
    assert packed is not None
    library = zlib.decompress(base64.b64decode(packed[1])).decode()
    assert "squatlineCharts" in library
    for script in [*scripts, library]:
        fingerprint = base64.b64encode(hashlib.sha256(script.encode()).digest()).decode()
        assert f"sha256-{fingerprint}" in policy[1].replace("&#39;", "'")


@pytest.mark.long
def test_hostile_text_is_shown_as_text(hostile: str, reader: Reader) -> None:
    found = Reader(hostile)
    assert found.text.count(" ".join(HOSTILE.split())) > 10
    assert [tag for tag, _ in found.tags].count("script") == [tag for tag, _ in reader.tags].count("script")
    assert "b" not in {tag for tag, _ in found.tags}
    assert "alert" not in {name for _, a in found.tags for name in a}


@pytest.mark.long
def test_hostile_text_stays_text_inside_the_data_of_scripts(hostile: str) -> None:
    assert "<script>alert" not in hostile
    assert "</script> &" not in hostile


@pytest.mark.long
def test_nothing_is_fetched_while_drawing(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    def refuse(*_: object, **__: object) -> None:
        raise AssertionError("a report opened a connection")

    monkeypatch.setattr(socket.socket, "connect", refuse)
    monkeypatch.setattr(socket, "getaddrinfo", refuse)
    logo = tmp_path / "logo.svg"
    logo.write_text(
        '<svg xmlns="http://www.w3.org/2000/svg" xmlns:xlink="http://www.w3.org/1999/xlink">'
        '<image xlink:href="http://192.0.2.1/x.png" width="9" height="9"/></svg>'
    )
    options = ReportOptions(logo=logo, leave_out=HEAVY[1:])
    rendered = render(make_results(), tmp_path, options=options)
    assert set(rendered.paths) == {"html", "pdf"}


def test_the_page_refers_to_nothing_outside(reader: Reader) -> None:
    addresses = reader.values("src") + reader.values("href")
    assert all(address.startswith(("#", "data:")) for address in addresses)


def test_each_part_of_the_page_keeps_within_its_bytes(reader: Reader) -> None:
    """What every page brings, and what a chart costs: what keeps the demos below 2.5 MB."""
    text = reader.source

    def held(part: str) -> int:
        return sum(len(found.encode()) for found in re.findall(part, text, re.DOTALL))

    still = re.findall(r"<svg.*?</svg>", text, re.DOTALL)
    assert held(r'id="chart-library">.*?</script>') < 420_000
    assert held(r"<style>.*?</style>") + held(r"<script>.*?</script>") < 230_000
    assert held(r'id="chart-data">.*?</script>') < 3_000 * len(still)
    assert held(r"<svg.*?</svg>") < 9_000 * len(still)
    # A still picture has no use for what steers a live one.
    assert not [one for one in still if re.search(r'<[a-z]+ [^>]*(?:class|aria-[a-z]+|role)="', one)]


@pytest.mark.long
def test_pages_are_small_and_the_same_every_time(tmp_path: Path, text: str) -> None:
    again = render(make_results(), tmp_path, forms=("html",)).paths["html"].read_bytes()
    assert again == text.encode()
    assert len(again) < 4_000_000


@pytest.mark.parametrize(
    ("options", "key"),
    [
        ({"paper": "A3"}, "paper"),
        ({"units": "metrical"}, "units"),
        ({"leave_out": ("verdict",)}, "leave_out"),
    ],
)
def test_unknown_choices_are_named(tmp_path: Path, options: dict[str, Any], key: str) -> None:
    with pytest.raises(RenderError) as error:
        render(make_results(), tmp_path, options=ReportOptions(**options))
    assert error.value.key == key
    assert error.value.allowed


def test_an_unknown_form_is_named(tmp_path: Path) -> None:
    with pytest.raises(RenderError, match="no such choice"):
        render(make_results(), tmp_path, forms=("docx",))


@pytest.mark.parametrize(
    ("content", "message"),
    [
        (b"GIF89a", "not a picture"),
        (b"\x89PNG\r\n\x1a\n" + bytes(LOGO.largest), "too large"),
        (None, "there is no such file"),
    ],
)
def test_bad_logos_are_refused(tmp_path: Path, content: bytes | None, message: str) -> None:
    logo = tmp_path / "logo.png"
    if content is not None:
        logo.write_bytes(content)
    with pytest.raises(RenderError, match=message) as error:
        render(make_results(), tmp_path, options=ReportOptions(logo=logo))
    assert error.value.file == str(logo)
    assert not (tmp_path / "report.html").exists()


def test_cover_words_and_logo_are_shown(tmp_path: Path) -> None:
    logo = tmp_path / "logo.png"
    logo.write_bytes(PIXEL)
    found = said(make_results(), logo=logo, cover_text="For the club's safety officer")
    assert "For the club's safety officer" in found.text
    assert [a for a in found.all("img") if str(a["src"]).startswith("data:image/png;base64,")]


@pytest.mark.long
def test_a_folder_that_cannot_be_written_to_is_named(tmp_path: Path) -> None:
    with pytest.raises(ResultsError, match="cannot be written"):
        render(make_results(), tmp_path / "nowhere", forms=("html",))


def test_a_run_without_samples_or_sweeps_still_makes_a_report() -> None:
    results = make_results()
    bare = replace(
        results,
        kept=None,
        summary=replace(
            results.summary, sweeps=(), correlations=(), failures=(), joint=None, joint_safety=None
        ),
    )
    found = [a["id"] for a in written(bare, leave_out=HEAVY[:1]).all("section")]
    assert "whatif" not in found
    assert "sweeps" not in found
    assert "verdicts" in found


def test_without_safety_limits_the_report_does_not_say_run() -> None:
    results = make_results()
    limits = tuple(replace(limit, safety=False) for limit in results.summary.limits)
    found = said(replace(results, summary=replace(results.summary, limits=limits)))
    assert "DO NOT RUN: this report cannot say" in found.text
    assert "Do not run the car as it stands: no limit is marked for safety" in found.text


def test_a_car_whose_every_limit_passes_is_not_to_be_run_where_none_is_for_safety() -> None:
    results = make_results()
    passing = [limit for limit in results.summary.limits if limit.conformance.verdict == "pass"]
    sourced = tuple(replace(one, source="tape") for one in results.summary.inputs)
    summary = replace(results.summary, inputs=sourced, failures=())
    for safety in (True, False):
        limits = tuple(replace(limit, safety=safety) for limit in passing)
        text = said(replace(results, summary=replace(summary, limits=limits))).text
        assert ("No limit is open and every input has a source" in text) is safety


def test_a_pass_is_never_a_clearance() -> None:
    results = make_results()
    limits = tuple(limit for limit in results.summary.limits if limit.conformance.verdict == "pass")
    found = said(replace(results, summary=replace(results.summary, limits=limits)))
    assert "May be run, under the cautions" in found.text
    assert "It is never a clearance to run." in found.text


#: How it was once said, where the words are ours alone; each has a plain one in its place.
OWN_WORDS = re.compile(
    r"\b(holds?|settle[sd]?|on the line|nought|told|asked for in|beyond doubt|middle car|9 in 10"
    r"|takes the chance|moved most by|speaks against it|turns the choice|gives? way first|quick less tame"
    r"|seen from its left|words used here|take the requirement back|more samples|chance of that)\b"
    r"|^otherwise$",
    re.IGNORECASE,
)


def test_cars_meet_a_limit_and_a_limit_passes() -> None:
    """Every text that is printed, wherever it is made: none has our own words for it."""
    assert OWN_WORDS.search("decide it: about 25 000 more samples")
    found = []
    folders = ("reports", "explorer/results", "explorer/analyses", "explorer/design", "explorer/estimators")
    files = [file for folder in folders for file in (ROOT / folder).rglob("*.py")]
    files += [ROOT / "explorer" / "pipeline.py", *(ROOT / "explorer" / "console").glob("cli*.py")]
    for file in files:
        tree = ast.parse(file.read_text(encoding="utf-8"))
        bare = {node.value for node in ast.walk(tree) if isinstance(node, ast.Expr)}
        found += [
            (file.name, node.value)
            for node in ast.walk(tree)
            if isinstance(node, ast.Constant) and isinstance(node.value, str) and node not in bare
            if OWN_WORDS.search(node.value)
        ]
    assert not found
