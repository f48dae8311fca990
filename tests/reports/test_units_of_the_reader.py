"""The units of the reader reach every sentence: nothing in SI on page and paper where they are imperial."""

from __future__ import annotations

import io
import re
from collections.abc import Callable, Iterable, Iterator
from dataclasses import fields, is_dataclass, replace
from pathlib import Path

import numpy as np
import pytest
from log_help import copied, write_columns
from pypdf import PdfReader
from study_help import Answer

from explorer import fit, load_results, load_study
from explorer.graph.written import System
from explorer.logs.fit_records import fit_record
from reports.blocks import Block, Figure, Gallery, Section
from reports.document import document
from reports.drawings.sideview import describe
from reports.formatting import Amount
from reports.options import SYSTEMS, ReportOptions
from reports.page import page
from reports.report import Report
from reports.sections import sections
from reports.sections.fitting import fit_blocks
from tests.reports.test_content import Reader

# What stands behind a number in SI, and in what a workshop makes of it.
SI = re.compile(r"\d\s(?:m/s|km/h|mm|cm|m|kg|g|N/mm|N/m|N|hPa|kPa|Pa|°C|K|J|kg/m³|m²)(?![\w/²³·])")
BLANK = ("<svg xmlns='http://www.w3.org/2000/svg' width='9' height='9'/>",) * len(SYSTEMS)
# The words of the builder stand as they are written; these hold no unit.
STUDY = """
[study]
title = "Units"
seed = 3
samples = 1000
sensitivity_samples = 64

[inputs]
mass = { mean = 5, sd = 0.1, unit = "kg", source = "scales" }
wheelbase = { value = 360, unit = "mm", source = "drawing" }
cg_station = { low = 180, high = 200, unit = "mm", source = "tilted" }
cg_height = { value = 200, unit = "mm", source = "drawing" }
air_temperature = { low = 10, high = 30, unit = "degC", source = "evenings" }

[conditions.rest]
words = "standing"
speed = "0 m/s"

[conditions.fast]
words = "on the strip"
speed = "40 m/s"

[[limits]]
name = "front load"
quantity = "front_static_load"
condition = "rest"
at_least = "20 N"
probability = 0.5

[[limits]]
name = "pressure"
quantity = "dynamic_pressure"
condition = "fast"
target = "0.14 psi"
tolerance = "0.01 psi"

[display]
speed = "m/s"
dynamic_pressure = "Pa"

[[sweeps]]
along = "speed"
from = "10 m/s"
to = "40 m/s"
steps = 3
quantities = ["dynamic_pressure"]
conditions = ["fast"]

[candidates.present]

[candidates.heavy]
words = "heavier"
mass = { mean = 6, sd = 0.1, unit = "kg", source = "scales" }

[design.mass]
low = "4 kg"
high = "8 kg"

[[maps]]
over = ["mass"]
points = 4

[[questions]]
ask = "How heavy?"
vary = "mass"
limit = "front load"

[logged_runs.morning]
file = "run.csv"
quantity = "dynamic_pressure"
condition = "fast"
columns = { speed = { column = "v", unit = "m/s" }, dynamic_pressure = { column = "q", unit = "Pa" } }
"""


def letters(shown: object, system: System = "imperial") -> Iterator[str]:
    """Yield all that blocks hold, alternatives of pictures and their signs as well."""
    if isinstance(shown, Amount):
        yield shown.text(system)
    elif isinstance(shown, str):
        yield shown
    elif isinstance(shown, tuple):
        # A line is read as one: a unit stands behind its number.
        yield "".join(map("".join, (letters(part, system) for part in shown)))
    elif is_dataclass(shown):
        for field in fields(shown):
            if field.name not in ("draw", "drawings", "order"):
                yield " ".join(letters(getattr(shown, field.name), system)) + " "


def told(blocks: Iterable[Block | Section]) -> str:
    return " ".join(words for block in blocks for words in letters(block))


def left_over(text: str) -> list[str]:
    return [text[max(one.start() - 60, 0) : one.end() + 20] for one in SI.finditer(text)]


def without_charts(section: Section) -> Section:
    """Leave the words of pictures and not the pictures, which take long to draw."""

    def bare(figure: Figure) -> Figure:
        return replace(figure, draw=None, drawings=BLANK)

    def kept(block: Block) -> Block:
        if isinstance(block, Gallery):
            return replace(block, figures=tuple(map(bare, block.figures)))
        return bare(block) if isinstance(block, Figure) else block

    return replace(section, blocks=tuple(map(kept, section.blocks)))


@pytest.mark.long
def test_nothing_is_left_in_si(tmp_path: Path, squatline: Callable[..., Answer]) -> None:
    (tmp_path / "study.toml").write_text(STUDY, encoding="utf-8")
    speed = np.linspace(5, 40, 60)
    # Too much pressure by far: what would explain it is told, and where the run lies outside.
    write_columns(tmp_path / "run.csv", {"v": speed, "q": 0.8 * speed**2})
    answers = [
        squatline("run", tmp_path, "--no-report", "--workers", 1),
        squatline("compare", tmp_path, "--no-report", "--workers", 1),
        squatline("explore", tmp_path, "--no-report", "--workers", 1),
    ]
    assert [answer.status for answer in answers] == [0, 0, 0], [answer.err for answer in answers]
    options = ReportOptions(units="imperial", leave_out=("models",))
    report = Report(load_results(tmp_path / "results"), options)
    content = tuple(without_charts(section) for section in sections(report))
    assert "is usual of such cars" in told(content)
    web = Reader(page(report, content)).text
    paper = " ".join(sheet.extract_text() for sheet in PdfReader(io.BytesIO(document(report, content))).pages)
    for form in (web, paper, told(content)):
        assert "mph" in form
        assert left_over(form) == []
    # The check would see it.
    assert left_over("mean 4.600 kg") == ["mean 4.600 kg"]


def test_the_car_is_told_in_the_units_of_the_reader() -> None:
    values = {
        "wheelbase": 0.36,
        "cg_station": 0.19,
        "cg_height": 0.05,
        "pitch": 0.01,
        "front_compression": 0.001,
        "rear_compression": 0.001,
        "weight": 49.0,
    }
    words = "".join(letters(describe(values, "flap open", {})))
    assert (
        words
        == "Side view of the car, flap open: pitch 0.6°, nose-up positive; weight 11.0\N{NO-BREAK SPACE}lbf."
    )


def test_what_fits_say_is_in_the_units_of_the_reader(tmp_path: Path) -> None:
    study = load_study(copied(tmp_path))
    records = [fit_record(one) for one in fit(study, "coast_down")]
    words = told(fit_blocks(records, study))
    assert re.search(r"headwind \S+.mph", words)
    assert left_over(words.replace('wind_varies = "0.5 m/s"', "")) == []
