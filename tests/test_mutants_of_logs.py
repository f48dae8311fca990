"""Mutants of logs and summaries are read or refused with words a user can act on, never a fault."""

from __future__ import annotations

import json
import random
from functools import cache, partial
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from mutants import FEW, MANY, mutant, textual, told_or_right
from report_fixture import make_results
from study_help import ROOT

from explorer.logs.reader import read_log
from explorer.results.stored import SUMMARY_FILE, load_summary, summary_text

LOG = ROOT / "studies" / "airfield-sprint" / "logs" / "coast_down_open_there.csv"


@cache
def right_log() -> str:
    return LOG.read_text(encoding="utf-8")


@cache
def right_summary() -> str:
    return summary_text(make_results().summary)


def check_log(file: Path, chance: random.Random) -> None:
    file.write_bytes(textual(right_log(), chance).encode("utf-8", "replace"))
    head = next(line for line in right_log().splitlines() if not line.startswith("#"))
    names = head.split(",")
    columns = {"time": {"column": names[0], "unit": "s"}, "speed": {"column": names[1], "unit": "km/h"}}
    told_or_right(lambda: read_log(file, columns))


def check_summary(folder: Path, chance: random.Random) -> None:
    changed = mutant(right_summary(), json.loads, partial(json.dumps, default=str, indent=1), chance)
    (folder / SUMMARY_FILE).write_bytes(changed.encode("utf-8", "replace"))
    told_or_right(lambda: load_summary(folder))


@FEW
@given(chance=st.randoms(use_true_random=False))
def test_a_changed_log_is_read_or_refused(
    tmp_path_factory: pytest.TempPathFactory, chance: random.Random
) -> None:
    check_log(tmp_path_factory.getbasetemp() / "log.csv", chance)


@pytest.mark.long
@settings(MANY, max_examples=1000)
@given(chance=st.randoms(use_true_random=False))
def test_thousands_of_changed_logs_and_summaries_are_read_or_refused(
    tmp_path_factory: pytest.TempPathFactory, chance: random.Random
) -> None:
    check_log(tmp_path_factory.getbasetemp() / "log.csv", chance)
    check_summary(tmp_path_factory.getbasetemp(), chance)
