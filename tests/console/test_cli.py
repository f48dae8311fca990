"""The command line as a user or a script meets it."""

from __future__ import annotations

import json
import re
import subprocess
import sys
import tomllib
from collections.abc import Callable
from importlib.metadata import version
from pathlib import Path

import pytest
from report_fixture import make_results
from study_help import AIRFIELD, CHASE, DEMO, Answer

from explorer.console.cli import COMMANDS
from explorer.console.explain import explain_all
from explorer.console.search import MOST_FOUND, find
from reports.options import ReportOptions
from reports.sections import SECTIONS

Cli = Callable[..., Answer]
Writer = Callable[..., Path]


def test_help_names_every_command(squatline: Cli) -> None:
    answer = squatline("--help")
    assert answer.status == 0
    for command in ("new", "check", "run", "report", "explain"):
        assert command in answer.out
    assert "never a clearance" in " ".join(answer.out.split())
    assert "1 with --strict" in " ".join(answer.out.split())


def test_alone_it_greets_and_says_what_to_begin_with(squatline: Cli) -> None:
    answer = squatline()
    assert answer.status == 0
    assert answer.err == ""
    assert len(answer.out.splitlines()) <= 10
    for command in ("squatline new my-car", "squatline check my-car", "squatline run my-car"):
        assert command in answer.out
    assert "never a clearance" in " ".join(answer.out.split())


def test_it_says_which_version_it_is(squatline: Cli) -> None:
    assert squatline("--version").out == f"squatline {version('squatline')}\n"


@pytest.mark.parametrize("command", ["run", "compare", "explore", "fit", "validate"])
def test_help_says_what_is_judged_by_the_exit_status(command: str, squatline: Cli) -> None:
    assert "End with status 1 unless" in " ".join(squatline(command, "--help").out.split())


def test_help_names_every_section_that_can_be_left_out(squatline: Cli) -> None:
    listed = " ".join(squatline("report", "--help").out.split()).partition("One of ")[2].partition(".")[0]
    assert listed.split(", ") == list(SECTIONS)


def test_help_imports_nothing_heavy() -> None:
    heavy = {
        "numpy",
        "scipy",
        "pandas",
        "pint",
        "pydantic",
        "SALib",
        "altair",
        "weasyprint",
        "jinja2",
        "vl_convert",
    }
    script = (
        "import sys\nsys.argv = ['squatline', '--help']\nfrom explorer.console.cli import main\n"
        "try:\n    main()\nfinally:\n    print('LOADED', *sorted(sys.modules), file=sys.stderr)"
    )
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=True)
    loaded = set(done.stderr.partition("LOADED")[2].split())
    assert not loaded & heavy


QUICK = "--no-report --engine threads -o {folder}"


@pytest.mark.long
@pytest.mark.parametrize(
    ("words", "needed"),
    [
        ("schema", ""),
        ("explain mass", ""),
        ("new {folder}", ""),
        (f"check {DEMO}", ""),
        (f"screen {DEMO}", ""),
        # Splines, and a Parquet file for the samples.
        (f"run {DEMO} --samples 500 {QUICK}", "scipy.interpolate pyarrow"),
        ("report {results} --html", "pyarrow altair.vegalite jinja2 vl_convert"),
        # Logs are tables as loggers write them.
        (f"fit {AIRFIELD} rear_spring_test", "pandas pyarrow"),
    ],
)
def test_a_command_imports_no_library_that_it_can_do_without(words: str, needed: str, tmp_path: Path) -> None:
    heavy = {
        "scipy.stats",
        "scipy.signal",
        "pandas",
        "pint",
        "SALib.analyze",
        "altair.vegalite",
        "weasyprint",
    }
    heavy |= {"scipy.interpolate", "pyarrow", "jinja2", "vl_convert", "dask", "distributed"}
    script = (
        "import sys\nfrom explorer.console.cli import main\n"
        "try:\n    main()\nfinally:\n    print('LOADED', *sorted(sys.modules), file=sys.stderr)"
    )
    if "{results}" in words:
        make_results().save(tmp_path / "results")
    asked = words.format(folder=tmp_path / "car", results=tmp_path / "results").split()
    command = [sys.executable, "-c", script, *asked]
    done = subprocess.run(command, capture_output=True, text=True, check=True)
    loaded = set(done.stderr.partition("LOADED")[2].split())
    assert "pydantic" in loaded
    assert loaded & heavy <= set(needed.split())


def test_unknown_option_and_command(squatline: Cli) -> None:
    for arguments in (["run", "--sampels", "3", DEMO], ["rnu"], ["run"]):
        answer = squatline(*arguments)
        assert answer.status == 2
        assert answer.out == ""
        assert "remedy" in answer.err


@pytest.mark.long
def test_new_writes_a_study_that_runs(tmp_path: Path, squatline: Cli) -> None:
    folder = tmp_path / "mine"
    written = squatline("new", folder)
    assert written.status == 0
    for command in (f"squatline check {folder}", f"squatline run {folder}", "squatline explain WORDS"):
        assert command in written.out
    check = squatline("check", folder)
    assert check.status == 0
    assert "no source given" not in check.out
    run = squatline("run", folder, "--samples", 2000, "--no-report")
    assert run.status == 0
    again = squatline("new", folder)
    assert again.status == 2
    assert "already" in again.err


def test_check_samples_and_writes_nothing(squatline: Cli, small_study: Writer) -> None:
    folder = small_study()
    assert squatline("check", folder).status == 0
    assert [path.name for path in folder.iterdir()] == ["study.toml"]


def test_check_as_json_is_plain_data(squatline: Cli, small_study: Writer) -> None:
    data = json.loads(squatline("check", small_study(), "--json").out)
    assert data["nominal"]["rest"]["weight"] == pytest.approx(5.0 * 9.80665)
    assert {"key": "wheelbase", "source": None}.items() <= next(
        row for row in data["inputs"] if row["key"] == "wheelbase"
    ).items()


@pytest.mark.long
@pytest.mark.parametrize(("bound", "status"), [("15 N", 0), ("40 N", 1)], ids=["pass", "fail"])
def test_exit_status_tells_the_verdict_when_asked(
    bound: str, status: int, squatline: Cli, small_study: Writer
) -> None:
    folder = small_study(**{'"23__N"': f'"{bound}"'})
    assert squatline("run", folder, "--no-report", "--strict").status == status
    answer = squatline("run", folder, "--json", "--no-report")
    assert answer.status == 0
    data = json.loads(answer.out)
    assert data["verdict"] == ("pass" if status == 0 else "fail")
    assert {path.name for path in (folder / "results").iterdir()} == {
        "summary.json",
        "samples.parquet",
        "timings.json",
        ".squatline",
    }


@pytest.mark.long
def test_a_run_says_which_verdicts_changed_and_why(squatline: Cli, small_study: Writer) -> None:
    folder = small_study()
    first = squatline("run", folder, "--no-report")
    assert "changed:" not in first.out
    again = squatline("run", folder, "--no-report")
    assert "changed:" not in again.out
    lighter = small_study(**{"mean__=__5.0": "mean = 4.0"})
    changed = " ".join(squatline("run", lighter, "--no-report").out.split())
    assert "changed: front load: pass, " in changed
    assert "-> fail, " in changed
    assert "mass: normal, mean 4.00 kg" in changed
    assert "in place of normal, mean 5.00 kg" in changed
    asked = small_study(**{"mean__=__5.0": "mean = 4.0", 'at_least__=__"23__N"': 'at_least = "15 N"'})
    found = json.loads(squatline("run", asked, "--no-report", "--json").out)["changed_verdicts"]
    assert [(one["limit"], one["after"]["verdict"], one["why"]) for one in found] == [
        ("front load", "pass", ["the bound is another"])
    ]


@pytest.mark.long
def test_no_colour_and_no_bars_when_the_output_is_a_file(small_study: Writer) -> None:
    script = "import sys\nfrom explorer.console.cli import main\nmain()"
    done = subprocess.run(
        [sys.executable, "-c", script, "run", str(small_study()), "--no-report"],
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0
    assert "\x1b" not in done.stdout + done.stderr
    assert done.stderr == ""
    assert "front load" in done.stdout


def test_results_do_not_overwrite_something_else(tmp_path: Path, squatline: Cli, small_study: Writer) -> None:
    other = tmp_path / "other"
    other.mkdir()
    (other / "thesis.txt").write_text("precious")
    answer = squatline("run", small_study(), "--output", other, "--no-report")
    assert answer.status == 2
    assert "has something else in it" in answer.err
    assert [path.name for path in other.iterdir()] == ["thesis.txt"]


def test_explain_says_unit_source_and_need(squatline: Cli) -> None:
    answer = squatline("explain", "dynamic_pressure")
    assert answer.status == 0
    for words in ("dynamic_pressure [Pa]", "air_density", "airspeed", "source"):
        assert words in answer.out


def test_explain_in_a_study_gives_value_and_uncertainty(squatline: Cli, small_study: Writer) -> None:
    answer = squatline("explain", "front_static_load", "--study", small_study(), "--json")
    row = json.loads(answer.out)["values"][0]
    assert row["nominal"] == pytest.approx(5.0 * 9.80665 * (1 - 190 / 360))
    # First order: the relative uncertainty of mass, and that of the distance to the rear axle.
    expected = row["nominal"] * ((0.1 / 5) ** 2 + (5 / 170) ** 2) ** 0.5
    assert row["sampled"]["sd"] == pytest.approx(expected, rel=0.03)


def test_explain_all_lists_given_and_computed(squatline: Cli) -> None:
    entries = {entry["name"]: entry for entry in json.loads(squatline("explain", "--all", "--json").out)}
    assert entries["mass"]["given"]
    assert not entries["top_speed"]["given"]
    assert "battery_resistance" in entries or any("battery" in name for name in entries)


@pytest.mark.long
@pytest.mark.parametrize(
    ("words", "name"),
    [
        ("torque", "servo_stall_torque"),
        ("stall torque", "servo_stall_torque"),
        ("scrape", "point_clearance"),
        ("battery", "battery_voltage_under_load"),
        ("spring", "rear_wheel_rate"),
        ("rear springs", "rear_spring_rate"),
        ("squat", "rear_compression"),
        ("lift", "front_lift_off_speed"),
        ("vmax", "top_speed"),
        ("top speed", "top_speed"),
        ("ride height", "point_clearance_at_rest"),
        ("lbs/in", "front_wheel_rate"),
        ("mechanism", "element_chord"),
        ("suspension", "front_motion_ratio"),
        ("hight_of_wing", "wing_height"),
    ],
)
def test_explain_finds_what_a_workshop_calls_it(words: str, name: str) -> None:
    assert name in [entry.name for entry in find(words, explain_all())][:MOST_FOUND]


def test_of_a_subject_what_its_word_names_comes_first() -> None:
    names = [entry.name for entry in find("brakes", explain_all())]
    assert all("brake" in name for name in names[:6])
    assert names.index("friction_brake_force") < 6 < names.index("radio_delay")


@pytest.mark.long
def test_explain_lists_what_it_found_and_explains_the_only_one(squatline: Cli) -> None:
    many, one = squatline("explain", "rear", "spring"), squatline("explain", "motor kv")
    assert many.status == one.status == 0
    assert "rear_spring_rate" in many.out
    assert "squatline explain NAME" in many.out
    assert one.out.startswith("motor_speed_constant [rpm/V]")
    assert re.search(r"written in\s+rpm/V", one.out)


@pytest.mark.parametrize(
    "word", ["throttle", "[today]", "usual", "sure", "contact", "standing_counts", "safety"]
)
def test_explain_says_what_a_word_of_the_study_file_is_for(word: str, squatline: Cli) -> None:
    answer = squatline("explain", word)
    assert answer.status == 0
    keys = dict(re.findall(r'(\w+) = ("[^"]*"|[\d.]+|true)', " ".join(answer.out.split())))
    assert keys
    assert all(tomllib.loads(f"{key} = {value}") for key, value in keys.items())


def test_explain_alone_lists_the_subjects(squatline: Cli) -> None:
    answer = squatline("explain")
    assert answer.status == 0
    assert len(answer.out.splitlines()) < 40
    for words in ("attitude", "suspension", "How the car stands"):
        assert words in answer.out


def test_explain_takes_the_name_of_a_family(squatline: Cli) -> None:
    alone = squatline("explain", "element_mass")
    assert alone.out.startswith("element_mass [kg]")
    demo = CHASE
    entry = json.loads(squatline("explain", "element_mass", "--study", demo, "--json").out)
    assert entry["name"] == entry["members"][0]
    assert len(entry["members"]) == 3


def test_explain_unknown_suggests(squatline: Cli) -> None:
    answer = squatline("explain", "topspeed")
    assert answer.status == 2
    assert "did you mean 'top_speed'?" in answer.err
    assert squatline("explain", "top_speed").status == 0
    answer = squatline("explain", "zzz")
    assert answer.status == 2
    assert "'squatline explain' lists the subjects" in answer.err


def test_report_on_no_results(tmp_path: Path, squatline: Cli) -> None:
    answer = squatline("report", tmp_path)
    assert answer.status == 2
    assert "run the study first" in answer.err


def test_a_fault_of_the_program_shows_no_traceback(
    squatline: Cli, small_study: Writer, monkeypatch: pytest.MonkeyPatch
) -> None:
    import explorer.pipeline

    def broken(*_: object, **__: object) -> None:
        raise ZeroDivisionError("by zero")

    monkeypatch.setattr(explorer.pipeline, "run", broken)
    answer = squatline("run", small_study())
    assert answer.status == 3
    assert "Traceback" not in answer.err
    assert "SQUATLINE_TRACE" in answer.err


@pytest.mark.parametrize("command", ["", *(command.__name__ for command in COMMANDS)])
def test_help_cuts_no_sentence_on_eighty_columns(
    command: str, squatline: Cli, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("COLUMNS", "80")
    usage, *lines = squatline(*command.split(), "--help").out.splitlines()
    assert usage.startswith("Usage:")
    assert not [line for line in lines if line.endswith("...") or len(line) > 80]
    # Types of the program say nothing to who types a word.
    assert not re.search(r"-\S+ <(?:str|list\[str\]|int range)>", "\n".join(lines))


@pytest.mark.parametrize("command", ["run", "compare", "explore"])
def test_how_many_cars_are_drawn_can_be_chosen_wherever_any_are(command: str, squatline: Cli) -> None:
    assert "--samples <number>" in squatline(command, "--help").out


def test_speeds_as_on_the_road_are_among_the_units(squatline: Cli) -> None:
    assert "'metric km/h'" in squatline("report", "--help").out
    assert ReportOptions(units="metric km/h").checked(()) is not None
