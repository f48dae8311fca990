"""What the README tells to type works as it stands there, in its order."""

from __future__ import annotations

import re
import shlex
import shutil
import tomllib
from collections.abc import Callable
from pathlib import Path

import pytest
from study_help import ROOT, Answer

from explorer.console.explain import whole_graph
from explorer.study.inputs import read_inputs

Cli = Callable[..., Answer]

README = (ROOT / "README.md").read_text(encoding="utf-8")
BLOCKS = re.findall(r"(?:^    .*\n(?:^ *\n(?=    ))?)+", README, re.MULTILINE)
COMMANDS = [
    shlex.split(match[1], comments=True)
    for block in BLOCKS
    for line in block.splitlines()
    if (match := re.search(r"(?:^ {4}|/)squatline (.*)", line))
]


def hurried(folder: Path) -> None:
    """Have the studies of a folder draw and rank little: what is looked at here is that all of it works."""
    for file in folder.glob("**/study.toml"):
        text = file.read_text(encoding="utf-8")
        if "sensitivity_replicates" not in text:
            text = re.sub(r"^sensitivity_samples = .*\n", "", text, flags=re.MULTILINE)
            few = "sensitivity_samples = 64\nsensitivity_replicates = 8\nseed = "
            file.write_text(re.sub(r"^seed = ", few, text, count=1, flags=re.MULTILINE), encoding="utf-8")


@pytest.mark.parametrize(
    "runs", [pytest.param(False, id="all but runs"), pytest.param(True, id="all", marks=pytest.mark.long)]
)
def test_every_command_works_in_its_order(
    runs: bool, squatline: Cli, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    shutil.copytree(
        ROOT / "studies", tmp_path / "studies", ignore=shutil.ignore_patterns("results", "fitted")
    )
    monkeypatch.chdir(tmp_path)
    assert {command[0] for command in COMMANDS} >= {"new", "run", "explain", "check", "inputs", "fit"}
    said = ""
    for command in [command for command in COMMANDS if runs or command[0] != "run"]:
        hurried(tmp_path)
        few = ["--samples", 500, "--no-report"] if command[0] == "run" else []
        answer = squatline(*command, *few)
        assert answer.status == 0, (command, answer.err)
        said += answer.out
    assert "the study includes it" in said


def test_every_input_that_it_shows_is_read(tmp_path: Path) -> None:
    walk = README[README.index("## A walk through") : README.index("## Commands")]
    shown = [block for block in BLOCKS if block in walk and re.match(r" +\w+ += \{", block)]
    entries = tomllib.loads("".join(shown))
    read = read_inputs(entries, whole_graph(), tmp_path, "inputs")
    assert set(read) == set(entries) >= {"mass", "wheelbase", "air_temperature", "rear_spring_rate"}
    assert read["mass"].distribution.sd == pytest.approx(0.03)


def test_the_readings_that_it_shows_become_an_input(small_study: Callable[..., Path], squatline: Cli) -> None:
    (shown,) = [block for block in BLOCKS if '"readings"' in block]
    folder = small_study(limits="\n".join(line.strip() for line in shown.splitlines()))
    (folder / "balance.csv").write_text("balance point [mm]\n190\n191.5\n189\n190.5\n", encoding="utf-8")
    answer = squatline("fit", folder, "balance", "--include")
    assert answer.status == 0, answer.err
    assert "the study includes it" in answer.out
    assert squatline("check", folder).status == 0
