"""The results folder: whole or not at all, one command at a time, and what others put there stays."""

from __future__ import annotations

import json
import os
import shutil
import signal
import subprocess
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
from study_help import ROOT, Answer

from explorer.errors import ResultsError
from explorer.results.folder import HIDDEN, NAMES, ResultsFolder, marked_json, results_folder
from explorer.study.study import load_study

Cli = Callable[..., Answer]
Writer = Callable[..., Path]
OURS = marked_json('{"a": 1}')


def written(folder: Path, text: str, *names: str) -> None:
    """Put files into a results folder as a command does."""
    with results_folder(folder) as place:
        put(place, text, *names)


def put(place: ResultsFolder, text: str, *names: str) -> None:
    """Put them there where it is open, alone."""
    files = {name: lambda file: file.write_text(marked_json(json.dumps({"text": text}))) for name in names}
    place.put(files, gone=NAMES)


def texts(folder: Path) -> dict[str, str]:
    """Return what stands in the results."""
    return {name: json.loads((folder / name).read_text())["text"] for name in visible(folder)}


def visible(folder: Path) -> list[str]:
    """List the names in a folder, hidden ones left out."""
    return sorted(path.name for path in folder.iterdir() if not path.name.startswith("."))


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """Return a folder with earlier results."""
    written(tmp_path / "out", "earlier", "summary.json", "design.json")
    return tmp_path / "out"


# What is replaced, and what stays.


def test_results_take_the_place_of_earlier_ones_and_the_rest_stays(folder: Path) -> None:
    (folder / "notes.txt").write_text("ran on wet grass")
    (folder / "photos").mkdir()
    (folder / "photos" / "car.jpg").write_bytes(b"a picture")
    written(folder, "later", "summary.json", "timings.json")
    assert visible(folder) == ["notes.txt", "photos", "summary.json", "timings.json"]
    assert (folder / "photos" / "car.jpg").read_bytes() == b"a picture"
    assert not (folder / HIDDEN).exists()


@pytest.mark.parametrize("name", NAMES)
def test_a_file_of_others_is_refused_whatever_its_name(tmp_path: Path, name: str) -> None:
    (tmp_path / name).write_text('{"chapter": 1, "about": "squatline"}')
    with pytest.raises(ResultsError, match="no command has written") as told, results_folder(tmp_path):
        pass
    assert told.value.file == str(tmp_path / name)
    assert [path.name for path in tmp_path.iterdir()] == [name]


@pytest.mark.parametrize("name", ["summary.json", "report.html"])
def test_a_link_in_the_place_of_a_result_is_refused(folder: Path, name: str) -> None:
    (folder / name).unlink(missing_ok=True)
    (folder.parent / "mine").write_text(OURS)
    (folder / name).symlink_to(folder.parent / "mine")
    with pytest.raises(ResultsError, match="no command has written"), results_folder(folder):
        pass
    assert (folder / name).is_symlink()


@pytest.mark.long
def test_all_forms_of_results_are_known_again(squatline: Cli, small_study: Writer) -> None:
    study = small_study(limits=BUILDS)
    for command in (["run"], ["compare", "--no-report"], ["explore", "--no-report"], ["run"]):
        answer = squatline(*command, study)
        assert answer.status in (0, 1), answer.err
    squatline("compare", study, "--no-report")
    squatline("explore", study, "--no-report")
    assert set(visible(study / "results")) == {*NAMES} - {"highest_speed.json"}
    with results_folder(study / "results"):
        pass


BUILDS = """
[candidates.one]
[candidates.two]
mass = { mean = 4.5, sd = 0.1, unit = "kg", source = "test" }
[design.mass]
low = "3 kg"
high = "6 kg"
[[maps]]
over = ["mass"]
points = 4
samples = 400
"""


@pytest.mark.parametrize("where", ["thesis", "study", ".git"])
def test_no_folder_of_others_is_touched(
    squatline: Cli, small_study: Writer, tmp_path: Path, where: str
) -> None:
    study = small_study()
    other = study if where == "study" else tmp_path / where
    other.mkdir(exist_ok=True)
    (other / "HEAD").write_text("precious")
    if where == "thesis":
        (other / "summary.json").write_text("{}")
    before = {path: path.read_bytes() for path in other.rglob("*") if path.is_file()}
    answer = squatline("run", study, "-o", other, "--no-report")
    assert answer.status == 2
    assert "remedy" in answer.err
    assert {path: path.read_bytes() for path in other.rglob("*") if path.is_file()} == before


@pytest.mark.long
def test_a_study_that_holds_earlier_results_stays(squatline: Cli, small_study: Writer) -> None:
    study = small_study()
    assert squatline("run", study, "--no-report").status in (0, 1)
    shutil.copy(study / "results" / "summary.json", study / "summary.json")
    text = (study / "study.toml").read_text()
    assert squatline("run", study, "-o", study, "--no-report").status in (0, 1)
    assert (study / "study.toml").read_text() == text


@pytest.mark.long
def test_results_are_written_through_a_link(squatline: Cli, small_study: Writer, tmp_path: Path) -> None:
    (tmp_path / "elsewhere").mkdir()
    (tmp_path / "results").symlink_to(tmp_path / "elsewhere")
    study = small_study()
    for _ in range(2):
        assert squatline("run", study, "--no-report").status in (0, 1)
    assert (tmp_path / "results").is_symlink()
    assert "summary.json" in visible(tmp_path / "elsewhere")


# Found out before anything is computed.


@contextmanager
def nothing_computed(monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    """Fail where a sample is drawn."""

    def too_early(*arguments: object, **options: object) -> None:
        raise AssertionError("computed before it was known whether the results can be written")

    with monkeypatch.context() as patched:
        patched.setattr("explorer.engine.montecarlo.make_job", too_early)
        patched.setattr("explorer.design.evaluator.set_up", too_early)
        yield


def a_file(place: Path) -> Path:
    place.write_text("a file")
    return place


def a_dangling_link(place: Path) -> Path:
    place.symlink_to(place.parent / "nowhere")
    return place


def below_a_file(place: Path) -> Path:
    place.write_text("a file")
    return place / "results"


def what_the_system_keeps(place: Path) -> Path:
    return Path("/proc/self/results")


@pytest.mark.parametrize("command", ["run", "compare", "explore"])
@pytest.mark.parametrize(
    "place", [a_file, a_dangling_link, below_a_file, what_the_system_keeps], ids=lambda one: one.__name__
)
def test_a_place_that_cannot_be_written_is_told_first(
    squatline: Cli,
    small_study: Writer,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    command: str,
    place: Callable[[Path], Path],
) -> None:
    output = place(tmp_path / "place")
    with nothing_computed(monkeypatch):
        answer = squatline(command, small_study(limits=BUILDS), "-o", output, "--no-report")
    assert answer.status == 2, answer.err
    assert "fault" not in answer.err


def test_a_disk_without_room_is_told_first(
    squatline: Cli, small_study: Writer, monkeypatch: pytest.MonkeyPatch
) -> None:
    usage = shutil.disk_usage(ROOT)._replace(free=600_000_000)
    monkeypatch.setattr(shutil, "disk_usage", lambda folder: usage)
    study = small_study()
    with nothing_computed(monkeypatch):
        answer = squatline("run", study, "--samples", 50_000_000, "--no-report")
    assert answer.status == 2
    assert "600 MB free" in answer.err
    assert "keep_samples = false" in answer.err
    assert not (study / "results").exists()
    assert squatline("run", study, "--no-report").status in (0, 1)


def test_a_report_needs_results(squatline: Cli, tmp_path: Path) -> None:
    for folder in (tmp_path / "nothing", tmp_path):
        answer = squatline("report", folder)
        assert answer.status == 2
        assert "not a results folder" in answer.err
    assert list(tmp_path.iterdir()) == []


# However a command ends.


def test_earlier_results_stay_when_writing_fails(folder: Path) -> None:
    def full(file: Path) -> None:
        file.write_text("half")
        raise OSError(28, "No space left on device")

    with results_folder(folder) as place, pytest.raises(ResultsError, match="make room"):
        place.put({"summary.json": lambda file: file.write_text(OURS), "timings.json": full}, gone=NAMES)
    assert texts(folder) == {"summary.json": "earlier", "design.json": "earlier"}
    assert not (folder / HIDDEN).exists()


@pytest.mark.parametrize("moment", range(14))
def test_killed_at_any_moment_they_are_the_earlier_ones_or_the_new_ones(folder: Path, moment: int) -> None:
    """It dies at the n-th of the calls that change the disk; at the last moments it is over before."""
    process = os.fork()
    if process == 0:
        _dying_at(moment)
        written(folder, "later", "highest_speed.json", "summary.json", "timings.json")
        os._exit(0)
    os.waitpid(process, 0)
    with results_folder(folder):
        pass
    found = texts(folder)
    earlier = {"summary.json": "earlier", "design.json": "earlier"}
    assert found in (earlier, dict.fromkeys(("highest_speed.json", "summary.json", "timings.json"), "later"))
    assert not (folder / HIDDEN).exists()


def _dying_at(moment: int) -> None:
    left = [moment]

    def dying(call: Callable[..., object]) -> Callable[..., object]:
        def counted(*arguments: object, **options: object) -> object:
            if left[0] == 0:
                os.kill(os.getpid(), signal.SIGKILL)
            left[0] -= 1
            return call(*arguments, **options)

        return counted

    os.replace, os.fsync = dying(os.replace), dying(os.fsync)  # type: ignore[assignment]
    Path.unlink, Path.rmdir = dying(Path.unlink), dying(Path.rmdir)  # type: ignore[method-assign]


def test_what_killed_commands_have_left_is_told_and_tidied(folder: Path) -> None:
    (folder / HIDDEN / "new").mkdir(parents=True)
    (folder / HIDDEN / "new" / "summary.json").write_text("half")
    (folder / ".report.html.123.part").write_text("half")
    with results_folder(folder) as place:
        assert [words.split(" ")[0] for words in place.tidied] == ["results", "a"]
        assert any("half-written report.html" in words for words in place.tidied)
    assert sorted(path.name for path in folder.iterdir()) == ["design.json", "summary.json"]


# One at a time.

HOLDER = """
import sys
from pathlib import Path
from explorer.results.folder import results_folder
with results_folder(Path(sys.argv[1])):
    print("held", flush=True)
    sys.stdin.read()
"""


@pytest.fixture
def holder(folder: Path) -> Iterator[subprocess.Popen[str]]:
    """Return another process that has the folder to itself."""
    with subprocess.Popen(
        [sys.executable, "-c", HOLDER, str(folder), "my-car\x1b[31m"],
        env={**os.environ, "PYTHONPATH": str(ROOT)},
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
    ) as process:
        assert process.stdout is not None
        assert process.stdout.readline() == "held\n"
        yield process
        process.kill()


@pytest.mark.parametrize("command", ["run", "compare", "explore", "report"])
def test_a_second_command_is_told_who_is_at_work(
    holder: subprocess.Popen[str],
    folder: Path,
    squatline: Cli,
    small_study: Writer,
    monkeypatch: pytest.MonkeyPatch,
    command: str,
) -> None:
    words = [folder] if command == "report" else [small_study(limits=BUILDS), "-o", folder, "--no-report"]
    with nothing_computed(monkeypatch):
        answer = squatline(command, *words)
    assert answer.status == 2
    for told in ("another command is at work", f"process {holder.pid} on ", "since 20", "my-car"):
        assert told in answer.err
    assert "\x1b" not in answer.err
    assert texts(folder) == {"summary.json": "earlier", "design.json": "earlier"}


def test_the_lock_of_a_process_that_is_no_more_is_taken_over(
    holder: subprocess.Popen[str], folder: Path
) -> None:
    holder.send_signal(signal.SIGKILL)
    holder.wait()
    with results_folder(folder) as place:
        assert f"process {holder.pid}" in place.tidied[0]
        with pytest.raises(ResultsError, match="another command is at work"), results_folder(folder):
            pass
    with results_folder(folder) as place:
        assert place.tidied == ()


def test_one_that_ends_makes_way(holder: subprocess.Popen[str], folder: Path) -> None:
    holder.communicate("")
    with results_folder(folder) as place:
        assert place.tidied == ()


# What has changed since.


@pytest.mark.long
def test_words_make_no_finished_run_stale(squatline: Cli, small_study: Writer) -> None:
    """A long run is kept when only words of the study have changed, or what may be built."""
    study = small_study(limits=BUILDS)
    assert squatline("run", study, "--samples", 9000, "--no-report").status in (0, 1)
    text = (study / "study.toml").read_text()
    changed = text.replace('source = "test"', 'source = "scales"').replace("points = 4", "points = 5")
    (study / "study.toml").write_text("# a comment\n" + changed)
    for command in ("compare", "explore"):
        answer = squatline(command, study, "--no-report")
        assert answer.status in (0, 1), answer.err
        assert "its results are kept" in answer.err
    assert _made(study)["samples"] == 9000
    assert set(_made(study)["findings"]) == {"candidates", "design"}


@pytest.mark.long
def test_a_run_of_other_numbers_is_replaced_with_a_word(squatline: Cli, small_study: Writer) -> None:
    study = small_study(limits=BUILDS)
    assert squatline("run", study, "--samples", 9000, "--no-report").status in (0, 1)
    text = (study / "study.toml").read_text()
    (study / "study.toml").write_text(text.replace("mean = 5.0", "mean = 5.1"))
    answer = squatline("compare", study, "--no-report")
    assert "of other inputs, limits or versions: the study is run again" in answer.err
    assert _made(study)["samples"] == 4000
    answer = squatline("run", study, "--no-report")
    assert "the earlier results go with what was added to them: candidates" in answer.err


@pytest.mark.long
def test_parts_of_other_inputs_go_with_a_word(squatline: Cli, small_study: Writer) -> None:
    study = small_study(limits=BUILDS)
    assert squatline("explore", study, "--no-report").status in (0, 1)
    assert (study / "results" / HIDDEN / "parts.sqlite").exists()
    assert "thrown away" not in squatline("explore", study, "--no-report").err
    text = (study / "study.toml").read_text()
    (study / "study.toml").write_text(text.replace("mean = 5.0", "mean = 5.1"))
    assert (
        "finished parts of the study with other inputs were thrown away"
        in squatline("explore", study, "--no-report").err
    )


@pytest.mark.long
def test_what_was_found_before_a_change_is_told(squatline: Cli, small_study: Writer) -> None:
    study = small_study(limits=BUILDS)
    assert squatline("explore", study, "--no-report").status in (0, 1)
    text = (study / "study.toml").read_text()
    (study / "study.toml").write_text(text.replace('high = "6 kg"', 'high = "7 kg"'))
    assert (
        "kept as found before the study was changed: design" in squatline("compare", study, "--no-report").err
    )
    assert load_study(study).sha256 != _made(study)["study_sha256"]


def _made(study: Path) -> dict[str, object]:
    made: dict[str, object] = json.loads((study / "results" / "summary.json").read_text())["reproduction"]
    return made
