"""What the package says of itself, and the licences of what it brings along."""

from __future__ import annotations

import re
import sys
import tomllib
from pathlib import Path

import pytest
from packaging.requirements import Requirement
from packaging.specifiers import SpecifierSet
from report_fixture import make_results
from study_help import ROOT

from reports import render

PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text())["project"]


def test_every_bundled_licence_stands_in_the_metadata() -> None:
    assert {"MIT", "OFL-1.1", "BSD-3-Clause"} <= set(PROJECT["license"].split(" AND "))
    for name in PROJECT["license-files"]:
        assert (ROOT / name).is_file(), name
    assert set((ROOT / "reports" / "fonts").glob("*.txt")) <= {
        ROOT / name for name in PROJECT["license-files"]
    }


@pytest.mark.long
def test_a_page_carries_the_licences_of_what_it_embeds(tmp_path: Path) -> None:
    page = render(make_results(), tmp_path, forms=("html",)).paths["html"].read_text()
    # Of 2.5 MB that a page may have: library, fonts and styles, before anything of a study.
    fixed = re.findall(r'id="chart-library">[^<]+<|<style>.*?</style>', page, re.DOTALL)
    assert len(fixed) == 2
    assert 300_000 < sum(map(len, fixed)) < 650_000
    for words in (
        "SIL OPEN FONT LICENSE Version 1.1",
        "University of Washington Interactive Data Lab",
        "Redistribution and use in source and binary forms",
        "Permission to use, copy, modify, and/or distribute this software",
    ):
        assert words in page, words


def test_python_versions_are_declared_as_they_are_tested() -> None:
    declared = {text.rsplit(" ", 1)[1] for text in PROJECT["classifiers"] if re.search(r":: 3\.\d+$", text)}
    assert declared == {"3.11", "3.12", "3.13"}
    assert "{}.{}".format(*sys.version_info) in declared
    assert all(f"{version}.0" in SpecifierSet(PROJECT["requires-python"]) for version in declared)


def test_libraries_that_could_change_numbers_or_forms_have_an_upper_bound_and_a_tested_version() -> None:
    tested = dict(
        line.split("==")
        for line in (ROOT / ".ci" / "constraints.txt").read_text().split("\n")
        if "==" in line
    )
    tested = {name.lower().replace("_", "-"): version for name, version in tested.items()}
    extras = PROJECT["optional-dependencies"]
    for text in PROJECT["dependencies"]:
        assert any(one.operator == "<" for one in Requirement(text).specifier), text
    for text in [
        *PROJECT["dependencies"],
        *extras["cluster"],
        *extras["desk"],
        *extras["reference"],
        *extras["test"],
    ]:
        wanted = Requirement(text)
        if wanted.name != PROJECT["name"]:
            assert tested[wanted.name.lower()] in wanted.specifier, text


def test_extras_are_named_not_repeated() -> None:
    extras = PROJECT["optional-dependencies"]
    named = [Requirement(text) for text in extras["test"]]
    assert {"cluster", "desk"} <= next(one.extras for one in named if one.name == PROJECT["name"])
    others = {Requirement(text).name for text in (*extras["cluster"], *extras["desk"])}
    assert not others & {one.name for one in named}
