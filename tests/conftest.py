"""Shared by all tests: the demo, small studies, and the command line called in this process."""

from __future__ import annotations

import os
import sys
from collections.abc import Callable
from pathlib import Path

# Workers of the tests share two cores: as on the command line, one thread of linear algebra each.  What they
# all run is compiled once, and not anew in every process that a test starts.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
os.environ.pop("PYTHONDONTWRITEBYTECODE", None)
# Workers of the tests have one; without it commands print as into a file.
os.environ.pop("COLUMNS", None)
sys.dont_write_bytecode = False

import hypothesis  # noqa: E402
import pytest  # noqa: E402
from study_help import SMALL, Answer  # noqa: E402

# No example has to be quick: the machine may be busy.
hypothesis.settings.register_profile("unhurried", deadline=None)
hypothesis.settings.load_profile("unhurried")


@pytest.fixture
def squatline(capfd: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> Callable[..., Answer]:
    """Call the command line in this process."""
    from explorer.console.cli import main

    def call(*arguments: object) -> Answer:
        monkeypatch.setattr(sys, "argv", ["squatline", *map(str, arguments)])
        status: object = 0
        try:
            main()
        except SystemExit as leave:
            status = leave.code
        captured = capfd.readouterr()
        return Answer(int(str(status or 0)), captured.out, captured.err)

    return call


@pytest.fixture
def small_study(tmp_path: Path) -> Callable[..., Path]:
    """Write a small study, with additions to its sections, and return its folder."""

    def write(inputs: str = "", conditions: str = "", limits: str = "", **replaced: str) -> Path:
        text = SMALL.format(inputs=inputs, conditions=conditions, limits=limits)
        for old, new in replaced.items():
            text = text.replace(old.replace("__", " "), new)
        (tmp_path / "study.toml").write_text(text, encoding="utf-8")
        return tmp_path

    return write
