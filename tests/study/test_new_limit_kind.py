"""A new kind of limit is a class with its ends and its words, and its keys in the schema: nothing else.

The kind made up here is a size with a deviation allowed upwards and another downwards, as on a drawing.
"""

from __future__ import annotations

import io
import math
import re
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import pytest
from pydantic import Field
from pypdf import PdfReader
from scipy.special import ndtr
from statistics_help import within
from study_help import Answer

from explorer.graph.words import Number, Words
from explorer.results.records import LimitRecord
from explorer.results.stored import Results, load_results
from explorer.study.limits import KINDS, Asked
from explorer.study.schema import LimitEntry, StudyFile, Value
from reports.document import document
from reports.page import page
from reports.report import Report, asked
from reports.sections.sweeps import build as sweeps
from reports.sections.verdicts import build as verdicts
from reports.terminal import words
from reports.whatif import payload

SAMPLES = 2000


# The class, with its one line of words ...
@dataclass(frozen=True)
class Deviations(Asked):
    """A size, and how far above and below it a value may lie."""

    size: float
    over: float
    under: float
    distances = frozenset({"over", "under"})

    @property
    def ends(self) -> tuple[float, float]:
        """From as far below as is allowed to as far above."""
        return self.size - self.under, self.size + self.over

    @property
    def words(self) -> Words:
        """As on a drawing."""
        return (
            Number(self.size),
            " +",
            Number(self.over, distance=True),
            " \N{MINUS SIGN}",
            Number(self.under, distance=True),
        )


# ... and its entry in the schema.
class DeviationsEntry(LimitEntry):
    size: Value | None = None
    over: Value | None = None
    under: Value | None = None


class FileWithDeviations(StudyFile):
    limits: list[DeviationsEntry] = Field(min_length=1)  # type: ignore[assignment]  # further keys


OWN = '''
from explorer.graph.quantity import given, quantity

strength = given("N", "Force at rest.")
drop = given("N", "What is lost of it.")


@quantity("N", source="test")
def hold(strength, drop, speed):
    """Force at a speed."""
    return strength - drop - 0.01 * speed**2
'''
STUDY = """
[study]
title = "Another kind of limit"
seed = 7
samples = 2000
sensitivity_samples = 64
own_quantities = "own.py"

[inputs]
strength = "20 N"
drop = { mean = 0, sd = 1, unit = "N", source = "test" }

[conditions.run]
speed = "10 m/s"

[[limits]]
name = "the force fits"
quantity = "hold"
condition = "run"
size = "19 N"
over = "2 N"
under = "1 N"
probability = 0.8

[[sweeps]]
along = "speed"
from = "0 m/s"
to = "20 m/s"
steps = 3
quantities = ["hold"]
conditions = ["run"]

[candidates.present]

[candidates.stronger]
words = "stronger"
strength = "22 N"

[design.strength]
low = "17 N"
high = "24 N"

[[maps]]
over = ["strength"]
points = 8

[[questions]]
ask = "How strong?"
vary = "strength"
limit = "the force fits"
"""


@pytest.fixture
def told(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, squatline: Callable[..., Answer]
) -> tuple[Results, str]:
    """Run, compare and explore; return the results, and what was printed."""
    monkeypatch.setattr("explorer.study.limits.KINDS", [*KINDS, Deviations])
    monkeypatch.setattr("explorer.study.text.StudyFile", FileWithDeviations)
    (tmp_path / "study.toml").write_text(STUDY, encoding="utf-8")
    (tmp_path / "own.py").write_text(OWN, encoding="utf-8")
    order = (tmp_path, "--allow-code", "--workers", 1)
    answers = [
        squatline("run", *order, "--details", "--no-report"),
        squatline("compare", *order, "--no-report"),
        squatline("explore", *order, "--no-report"),
    ]
    assert [answer.status for answer in answers] == [0, 0, 0], [answer.err for answer in answers]
    return load_results(tmp_path / "results"), "".join(answer.out for answer in answers)


def held(found: float, strength: float) -> bool:
    """Compare with the probability in closed form: strength - 1 N, with a spread of 1 N, from 18 to 21 N."""
    low, high = (end - (strength - 1) for end in (18, 21))
    truth = float(ndtr(high) - ndtr(low))
    return within(found, truth, math.sqrt(truth * (1 - truth) / SAMPLES))


def plain(text: str) -> str:
    return " ".join(text.split())


def test_it_reaches_every_form_and_every_analysis(told: tuple[Results, str]) -> None:
    results, printed = told
    report = Report(results)
    limit: LimitRecord = results.summary.limits[0]
    assert held(limit.conformance.probability, 20)

    said = plain(words(asked(limit)))
    assert said == "19 N +2 N \N{MINUS SIGN}1 N"
    assert plain(words(asked(limit), "imperial")) == "4.271 lbf +0.4496 lbf \N{MINUS SIGN}0.2248 lbf"
    content = (verdicts(report),)
    web = re.sub("<[^>]*>", "", page(report, content))
    paper = " ".join(sheet.extract_text() for sheet in PdfReader(io.BytesIO(document(report, content))).pages)
    for form in (printed, web, paper):
        assert said in plain(form)

    what_if = payload(report)
    assert what_if is not None
    assert (what_if["limits"][0]["low"], what_if["limits"][0]["high"]) == (18.0, 21.0)

    section = sweeps(report)
    assert section is not None
    for end in ("at least 18", "at most 21"):
        assert end in str(section.blocks[1].charts[0])  # type: ignore[union-attr]

    compared = results.summary.candidates
    assert compared is not None
    found = {one.name: one.limits[0].probability for one in compared.candidates}
    assert held(found["present"], 20)
    assert held(found["stronger"], 22)

    explored = results.summary.design
    assert explored is not None
    for at, probabilities in (
        (explored.maps[0].values[0], explored.maps[0].limits[0].probability[0]),
        (explored.answers[0].values, explored.answers[0].probabilities),
    ):
        assert len(at) > 5
        assert all(map(held, probabilities, at))
    # Not strong enough, strong enough, too strong.
    (stretch,) = explored.answers[0].stretches
    assert 19 < stretch.low.value < 20.5 < stretch.high.value < 22
