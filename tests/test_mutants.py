"""Mutants of studies are read or refused with words a user can act on, never a fault."""

from __future__ import annotations

import random
import shutil
import tomllib
from functools import cache
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from mutants import MANY, as_toml, mutant, told_or_right
from study_help import ROOT

from explorer.analyses.nominal import nominal_values
from explorer.study.study import load_study
from explorer.study.template import write_template

DEMOS = ("airfield-sprint", "three-flap-chase")


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


def check_study(folder: Path, chance: random.Random) -> None:
    changed = mutant(original(folder), tomllib.loads, as_toml, chance)
    (folder / "study.toml").write_bytes(changed.encode("utf-8", "replace"))
    # To evaluate takes half a second, the second demo's twice that: of what is read, one in ten is.
    evaluated = folder.name != DEMOS[1] and chance.random() < 0.1
    told_or_right(lambda: nominal_values(load_study(folder)) if evaluated else load_study(folder))


@pytest.mark.long
@MANY
@given(name=st.sampled_from(["template", *DEMOS]), chance=st.randoms(use_true_random=False))
def test_thousands_of_changed_studies_are_read_or_refused(
    folders: dict[str, Path], name: str, chance: random.Random
) -> None:
    check_study(folders[name], chance)
