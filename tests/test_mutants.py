"""Mutants of studies, logs and summaries are read or refused with words a user can act on, never a fault."""

from __future__ import annotations

import json
import random
import shutil
import tomllib
from collections.abc import Callable
from contextlib import suppress
from functools import cache, partial
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from mutants import as_toml, structural, textual
from report_fixture import make_results
from study_help import ROOT

from explorer.analyses.nominal import nominal_values
from explorer.errors import SquatlineError
from explorer.logs.reader import read_log
from explorer.results.records import SUMMARY_FILE, load_summary, summary_text
from explorer.study.study import load_study
from explorer.study.template import write_template

DEMOS = ("airfield-sprint", "three-flap-chase")
LOG = ROOT / "studies" / "airfield-sprint" / "logs" / "coast_down_open_there.csv"
FEW = settings(max_examples=40, derandomize=True, suppress_health_check=list(HealthCheck))
MANY = settings(max_examples=2000, derandomize=True, suppress_health_check=list(HealthCheck))


@pytest.fixture(scope="module")
def folders(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    """Copy both demos and the template, for their study files to be written over."""
    place = tmp_path_factory.mktemp("mutants")
    write_template(place / "template")
    for name in DEMOS:
        shutil.copytree(ROOT / "studies" / name, place / name, ignore=shutil.ignore_patterns("results"))
    return {name: place / name for name in ("template", *DEMOS)}


@cache
def original(folder: Path) -> str:
    """Return the study file as it was before the first mutant."""
    return (folder / "study.toml").read_text(encoding="utf-8")


def mutant(text: str, parse: Callable[[str], Any], write: Callable[[Any], str], chance: random.Random) -> str:
    """Change what a text means, or the text itself."""
    return write(structural(parse(text), chance)) if chance.random() < 0.6 else textual(text, chance)


def told_or_right(action: Callable[[], object]) -> None:
    """Let an action come to its end or be refused; anything else is a fault of the program."""
    with suppress(SquatlineError):
        action()


def check_study(folder: Path, chance: random.Random) -> None:
    changed = mutant(original(folder), tomllib.loads, as_toml, chance)
    (folder / "study.toml").write_bytes(changed.encode("utf-8", "replace"))
    # The second demo takes a second to evaluate: its mutants are only read.
    told_or_right(
        lambda: load_study(folder) if folder.name == DEMOS[1] else nominal_values(load_study(folder))
    )


def check_log(file: Path, chance: random.Random) -> None:
    file.write_bytes(textual(LOG.read_text(encoding="utf-8"), chance).encode("utf-8", "replace"))
    head = next(line for line in LOG.read_text(encoding="utf-8").splitlines() if not line.startswith("#"))
    names = head.split(",")
    columns = {"time": {"column": names[0], "unit": "s"}, "speed": {"column": names[1], "unit": "km/h"}}
    told_or_right(lambda: read_log(file, columns))


def check_summary(folder: Path, chance: random.Random) -> None:
    right = summary_text(make_results().summary)
    changed = mutant(right, json.loads, partial(json.dumps, default=str, indent=1), chance)
    (folder / SUMMARY_FILE).write_bytes(changed.encode("utf-8", "replace"))
    told_or_right(lambda: load_summary(folder))


@pytest.mark.long
@pytest.mark.parametrize("name", ["template", *DEMOS])
@FEW
@given(chance=st.randoms(use_true_random=False))
def test_a_changed_study_is_read_or_refused(
    folders: dict[str, Path], name: str, chance: random.Random
) -> None:
    check_study(folders[name], chance)


@FEW
@given(chance=st.randoms(use_true_random=False))
def test_a_changed_log_is_read_or_refused(
    tmp_path_factory: pytest.TempPathFactory, chance: random.Random
) -> None:
    check_log(tmp_path_factory.getbasetemp() / "log.csv", chance)


@pytest.mark.long
@FEW
@given(chance=st.randoms(use_true_random=False))
def test_a_changed_summary_is_read_or_refused(
    tmp_path_factory: pytest.TempPathFactory, chance: random.Random
) -> None:
    check_summary(tmp_path_factory.getbasetemp(), chance)


@pytest.mark.long
@MANY
@given(name=st.sampled_from(["template", *DEMOS]), chance=st.randoms(use_true_random=False))
def test_thousands_of_changed_studies_are_read_or_refused(
    folders: dict[str, Path], name: str, chance: random.Random
) -> None:
    check_study(folders[name], chance)


@pytest.mark.long
@MANY
@given(chance=st.randoms(use_true_random=False))
def test_thousands_of_changed_logs_and_summaries_are_read_or_refused(
    tmp_path_factory: pytest.TempPathFactory, chance: random.Random
) -> None:
    check_log(tmp_path_factory.getbasetemp() / "log.csv", chance)
    check_summary(tmp_path_factory.getbasetemp(), chance)
