"""What is read as a study, an include, a table or a log: ordinary files, TOML within bounds."""

from __future__ import annotations

import os
import time
from collections.abc import Callable
from pathlib import Path

import pytest
from study_help import Answer

from explorer.errors import SquatlineError, StudyError
from explorer.files.reading import Wanted, megabytes
from explorer.logs.reader import read_log
from explorer.study.study import load_study
from explorer.study.text import DEEPEST, MOST_PARTS, parsed

Cli = Callable[..., Answer]
Writer = Callable[..., Path]
SOURCE = '{ file = "PATH", unit = "kg" }'


@pytest.fixture(params=["pipe", "device", "folder", "huge"])
def no_ordinary_file(request: pytest.FixtureRequest, tmp_path: Path) -> tuple[str, str]:
    """Name a file that may never end, or is too large, and say the word its message must hold."""
    place = tmp_path / "odd"
    match request.param:
        case "pipe":
            os.mkfifo(place)
            return "odd", "a named pipe"
        case "device":
            return "/dev/zero", "a device"
        case "folder":
            place.mkdir()
            return ".", "a folder"
    with place.open("wb") as file:
        file.truncate(3_000_000_000)
    return "odd", "3 000 MB"


def test_what_is_no_ordinary_file_is_read_in_no_place(
    no_ordinary_file: tuple[str, str], small_study: Writer, squatline: Cli
) -> None:
    name, words = no_ordinary_file
    folder = small_study()
    file = folder / "study.toml"
    text = file.read_text()
    places = {
        "an include": f'include = ["{name}"]\n{text}',
        "values": text.replace('"360 mm"', SOURCE.replace("PATH", name).replace("kg", "mm")),
        "own quantities": text.replace("[study]", f'[study]\nown_quantities = "{name}"'),
        "a log": f"{text}\n{LOGGED_RUN.replace('PATH', name)}",
    }
    for place, changed in places.items():
        file.write_text(changed)
        command = "validate" if place == "a log" else "check"
        answer = squatline(command, folder, "--allow-code")
        assert answer.status == 2, place
        assert words in answer.err, place
        assert "allowed:" in answer.err
        assert "remedy:" in answer.err
    file.unlink()
    given = folder / name
    if given.is_dir():
        file.mkdir()
        given = file
    answer = squatline("check", given if given != folder else file)
    assert (answer.status, words in answer.err) == (2, True)


LOGGED_RUN = """
[logged_runs.run]
file = "PATH"
quantity = "front_static_load"
condition = "rest"
columns = { speed = { column = "v", unit = "m/s" }, front_static_load = { column = "f", unit = "N" } }
"""


def test_a_file_of_the_system_that_gives_no_size_is_not_followed() -> None:
    assert Wanted("study", 100).read(Path("/proc/self/maps")) == b""


@pytest.mark.parametrize("name", ["x" * 300, "s/" * 3000])
def test_paths_that_no_file_can_have(name: str, small_study: Writer, squatline: Cli) -> None:
    folder = small_study()
    text = (folder / "study.toml").read_text()
    for changed in (f'include = ["{name}"]\n{text}', f"{text}\n{LOGGED_RUN.replace('PATH', name)}"):
        (folder / "study.toml").write_text(changed)
        answer = squatline("validate", folder)
        assert answer.status == 2
        assert "cannot be read" in answer.err


def test_a_path_with_a_nul_in_it_is_no_fault(tmp_path: Path) -> None:
    with pytest.raises(StudyError, match="cannot be read"):
        load_study(tmp_path / "a\0b")


@pytest.mark.parametrize("include", ["5", '"fitted.toml"', "[5]", "[[]]", "{}", '["x"' + ', "x"' * 60 + "]"])
def test_an_include_is_a_list_of_names(include: str, small_study: Writer) -> None:
    folder = small_study()
    text = (folder / "study.toml").read_text()
    (folder / "study.toml").write_text(f"include = {include}\n{text}")
    with pytest.raises(StudyError, match="include lists file names") as caught:
        load_study(folder)
    assert caught.value.key == "include"
    assert "fitted.toml" in str(caught.value.remedy)


BEYOND = {
    "deep lists": ("x = " + "[" * 5000 + "]" * 5000, "nested too deeply", f"up to {DEEPEST}"),
    "deep tables": ("x = " + "{a=" * 40 + "1" + "}" * 40, "nested too deeply", f"up to {DEEPEST}"),
    "a long key": ("[study]\n" + ".".join("a" * 20_000) + " = 1", "too many parts", f"up to {MOST_PARTS}"),
    "quoted parts": ('[study]\n"\\""' + ' . "x y"' * 9000 + " = 1", "too many parts", "line 2"),
    "a long head": ("[" + ".".join("a" * 9000) + "]", "too many parts", f"up to {MOST_PARTS}"),
    "many digits": ("\nx = " + "9" * 5000, "a number cannot be read", "line 2"),
    "65 bits": ("a = [1, {b = 9223372036854775808}]", "a[2].b", "9223372036854775807"),
}


@pytest.mark.parametrize("beyond", BEYOND)
def test_what_no_study_needs_is_refused_at_once(beyond: str) -> None:
    text, *said = BEYOND[beyond]
    with pytest.raises(StudyError) as caught:
        parsed(text)
    for words in said:
        assert words in str(caught.value)


def test_looking_for_long_keys_takes_time_in_proportion_to_the_text() -> None:
    def seconds(size: int) -> float:
        texts = (
            'x = "' + "a" * size + '"',
            "a." * size,
            "'" * size,
            '"a".' * (size // 4),
            "a . " * (size // 4),
        )
        start = time.process_time()
        for text in texts:
            with pytest.raises(StudyError):
                parsed(f"= {text}")
        return time.process_time() - start

    seconds(1000)
    assert seconds(800_000) < 30 * seconds(80_000)


def test_sizes_are_told_in_megabytes() -> None:
    assert [megabytes(size) for size in (1_000_000, 2_340_000, 3_000_000_000)] == [
        "1 MB",
        "2.34 MB",
        "3 000 MB",
    ]


def test_a_log_that_is_a_pipe_is_not_waited_for(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "run.csv")
    with pytest.raises(SquatlineError, match="no ordinary file"):
        read_log(tmp_path / "run.csv", {"time": {"column": "t", "unit": "s"}})
