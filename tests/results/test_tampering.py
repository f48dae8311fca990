"""A results folder that somebody has changed: refused in words, or read as far as nothing hangs on it."""

from __future__ import annotations

import json
import os
from collections.abc import Callable
from pathlib import Path

import pandas as pd
import pytest
from report_fixture import make_results
from study_help import Answer

from explorer.errors import ResultsError
from explorer.results.stored import load_results, load_summary

Cli = Callable[..., Answer]


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    return Path(str(make_results().save(tmp_path / "results") and tmp_path / "results"))


def test_what_was_written_is_read_back_however_it_is_laid_out(folder: Path) -> None:
    before = load_results(folder).summary
    data = json.loads((folder / "summary.json").read_text(encoding="utf-8"))
    (folder / "summary.json").write_text(json.dumps(data, indent=4, sort_keys=True), encoding="utf-8")
    assert load_results(folder).summary == before == make_results().summary


def changed(data: dict, *place: object, to: object) -> dict:
    inner = data
    for key in place[:-1]:
        inner = inner[key]
    inner[place[-1]] = to
    return data


TAMPERED = {
    "a verdict": (("limits", 0, "conformance", "verdict"), "undecided", "changed after"),
    "a probability": (("limits", 0, "conformance", "probability"), 1.0, "changed after"),
    "an output out of reach": (("limits", 0, "output"), 999, "changed after"),
    "a title": (("title",), "Cleared to run", "changed after"),
    "a unit": (("limits", 0, "unit"), "parsec**9**9", "changed after"),
    "a wrong kind": (("inputs",), 5, "does not fit its schema"),
    "a digest": (("sha256",), "0" * 64, "changed after"),
    "no digest": (("sha256",), None, "changed after"),
    "a version": (("schema_version",), 7, "another version"),
    "no version": (("schema_version",), [], "another version"),
}


@pytest.mark.parametrize("tampered", TAMPERED)
def test_a_changed_summary_is_refused(tampered: str, folder: Path, squatline: Cli) -> None:
    place, value, words = TAMPERED[tampered]
    file = folder / "summary.json"
    file.write_text(json.dumps(changed(json.loads(file.read_text()), *place, to=value), indent=1))
    answer = squatline("report", folder)
    assert answer.status == 2
    for said in ("summary.json", words, "found:" if words != "changed after" else "allowed:", "remedy:"):
        assert said in answer.err


@pytest.mark.parametrize(
    "text", ["", "[]", "{", "[" * 100_000, '{"schema_version": ' + "9" * 5000 + "}", "\x00"]
)
def test_what_is_no_summary_is_refused(text: str, folder: Path, squatline: Cli) -> None:
    (folder / "summary.json").write_text(text)
    answer = squatline("report", folder)
    assert answer.status == 2
    assert "a file that no command has written" in answer.err
    with pytest.raises(ResultsError, match="not a results folder"):
        load_summary(folder)


@pytest.mark.parametrize("name", ["summary.json", "samples.parquet", "timings.json"])
@pytest.mark.parametrize("kind", ["pipe", "folder", "endless"])
def test_a_pipe_or_a_folder_in_place_of_a_file_is_not_waited_for(name: str, kind: str, folder: Path) -> None:
    file = folder / name
    file.unlink(missing_ok=True)
    match kind:
        case "pipe":
            os.mkfifo(file)
        case "folder":
            file.mkdir()
        case _:
            file.symlink_to("/dev/zero")
    if name == "timings.json":
        assert load_results(folder).stages == ()
        return
    with pytest.raises(ResultsError, match="no ordinary file"):
        load_results(folder)


@pytest.mark.parametrize("times", ["[]", "{", '{"saving": "long"}', '{"saving": [1]}', "[" * 10_000])
def test_times_that_cannot_be_read_are_left_out(times: str, folder: Path) -> None:
    (folder / "timings.json").write_text(times)
    assert load_results(folder).stages == ()


def test_kept_samples_that_are_none_are_refused(folder: Path) -> None:
    file = folder / "samples.parquet"
    whole = file.read_bytes()
    text = pd.DataFrame({"mass": ["heavy", "light"]})
    for content in (b"", b"PAR1", whole[: len(whole) // 2], whole[:-8] + b"\xff" * 8, text, pd.DataFrame()):
        if isinstance(content, bytes):
            file.write_bytes(content)
        else:
            content.to_parquet(file)
        with pytest.raises(ResultsError, match="samples") as caught:
            load_results(folder)
        assert caught.value.file == str(file)
    pd.DataFrame({"mass": [1.0]}).iloc[:0].to_parquet(file)
    with pytest.raises(ResultsError, match="of another run"):
        load_results(folder)


def test_answers_that_are_missing_among_kept_samples_are_read_back(folder: Path) -> None:
    samples = load_results(folder).samples
    assert samples is not None
    assert samples.isna().any().any()
    assert samples.equals(make_results().samples)
