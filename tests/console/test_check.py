"""What ``check`` says, in what order, on eighty columns, and what it costs."""

from __future__ import annotations

import re
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest
from study_help import DEMO, Answer

from explorer.analyses.nominal import nominal_values
from explorer.analyses.odd import asked_at_nominal
from explorer.engine.montecarlo import run_montecarlo
from explorer.study.study import load_study
from explorer.study.template import CarHas, write_template

Cli = Callable[..., Answer]
Writer = Callable[..., Path]
LIMIT = (
    '[[limits]]\nname = "{}"\nquantity = "front_static_load"\n'
    'condition = "rest"\nat_least = "{} N"\nprobability = 0.9\n'
)
# Loads of the libraries take longer than a check itself would.
HEAVY = {"pandas", "pyarrow", "altair", "pint", "scipy.stats", "scipy.optimize", "scipy.interpolate", "SALib"}
CHECK = """
import sys, time
sys.argv = ["squatline", "check", sys.argv[1]]
from explorer.console.cli import main
try:
    main()
finally:
    print(time.process_time(), *sys.modules, file=sys.stderr)
"""
IMPORTS = """
import importlib, sys, time
for name in sys.argv[1:]:
    importlib.import_module(name)
print(time.process_time(), file=sys.stderr)
"""


def test_it_begins_with_the_nominal_car_against_its_limits(squatline: Cli, small_study: Writer) -> None:
    """One limit met and one missed, each by the distance to its bound; 23.15 N by hand."""
    said = squatline("check", small_study(limits=LIMIT.format("low", 20) + LIMIT.format("high", 30))).out
    begin = said[: said.index("Missing")]
    assert "2 of 3 limits met" in begin
    assert re.search(r"low +met, 3\.15 N to spare", begin)
    assert re.search(r"high +missed by 6\.85 N", begin)


def test_it_says_what_is_odd_assumed_missing_and_varies(squatline: Cli, small_study: Writer) -> None:
    folder = small_study(
        inputs='wing_pitch_slope = "usual"\ncg_height = "450 mm"',
        limits='[conditions.fast]\nspeed = "45 km/h"\n',
    )
    answer = squatline("check", folder)
    assert answer.status == 0, answer.err
    odd, assumed, missing, varies, after = (
        answer.out.index(f"\n{heading}\n") for heading in ("Odd", "Assumed", "Missing", "Varies", "Next")
    )
    assert odd < assumed < missing < varies < after
    assert "did you mean 45 mm?" in answer.out[odd:assumed]
    assert "1 input from what is usual of such cars: wing_pitch_slope" in answer.out[assumed:missing]
    assert "2 inputs without a source: wheelbase, cg_height" in answer.out[missing:varies]
    assert f"squatline run {folder}" in " ".join(answer.out[after:].split())
    assert "front_static_load" not in answer.out


def test_a_new_study_is_told_on_one_screen_and_flaps_by_the_line_they_share(
    squatline: Cli, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    monkeypatch.setenv("COLUMNS", "100")
    write_template(tmp_path, CarHas(2, "electric", "fitted", "spring", wake=True))
    short, whole = squatline("check", tmp_path).out, squatline("check", tmp_path, "--all").out
    assert short.count("\n") <= 50
    assert re.search(r"\d+ inputs made up or guessed: .* and \d+ more", " ".join(short.split()))
    for words in ("element_span", "element_modulus", "flap_2_arm_angle"):
        assert words in whole
    assert "flap_1_modulus, flap_2_modulus" not in whole


def test_no_answer_is_told_with_its_own_reason_out_of_several(squatline: Cli, tmp_path: Path) -> None:
    """A bump near wheel hop is refused; nothing is said of a pitch that has not diverged."""
    text = (DEMO / "study.toml").read_text(encoding="utf-8")
    wheels = "".join(
        f"{axle}_{what}\n"
        for axle in ("front", "rear")
        for what in ('unsprung_mass = "0.2 kg"', 'tyre_stiffness = "20 N/mm"')
    )
    text = text.replace("[inputs]\n", f"[inputs]\n{wheels}", 1)
    text += '\n[conditions.bumped]\nlike = "closed"\nbump_height = "3 mm"\nbump_length = "0.8 m"\n'
    text += '[[limits]]\nquantity = "front_airborne_time"\ncondition = "bumped"\nat_most = "0.1 s"\n'
    (tmp_path / "study.toml").write_text(text + "probability = 0.9\n", encoding="utf-8")
    said = " ".join(squatline("check", tmp_path).out.split())
    assert "front_airborne_time: no answer at the nominal values (the bump is so short that" in said
    assert "diverged" not in said
    outcome = run_montecarlo(load_study(tmp_path), samples=100)
    assert {name for _, name in outcome.first_failed} == {"followed_time"}


def test_logs_that_are_not_beside_the_study_are_missing(squatline: Cli, small_study: Writer) -> None:
    fit = '[fits.weighed]\nkind = "readings"\nfile = "scales.csv"\n'
    fit += 'columns = { mass = { column = "V", unit = "kg" } }\n'
    run = '[logged_runs.one]\nfile = "first run.csv"\nquantity = "front_static_load"\n'
    run += 'condition = "rest"\ncolumns = { speed = { column = "v", unit = "m/s" }, '
    run += 'front_static_load = { column = "f", unit = "N" } }\n'
    answer = squatline("check", small_study(limits=fit + run))
    assert answer.status == 0, answer.err
    said = " ".join(answer.out.split())
    assert "no such file beside the study: scales.csv, first run.csv" in said


def test_inputs_and_quantities_are_listed_when_asked_for(squatline: Cli, small_study: Writer) -> None:
    said = squatline("check", small_study(), "--all").out
    for words in ("normal, mean 5.00 kg, sd 0.10 kg", "exactly 360 mm", "front_static_load", "23.15 N"):
        assert words in said


def test_on_eighty_columns_nothing_is_cut_and_no_number_parted_from_its_unit(
    squatline: Cli, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    monkeypatch.setenv("COLUMNS", "80")
    monkeypatch.setattr("reports.terminal.FILE_WIDTH", 80)
    write_template(tmp_path, CarHas(2, "electric", "fitted", "spring", wake=True))
    said = squatline("check", tmp_path, "--all").out
    study = load_study(tmp_path)
    for name in [limit.name for limit in study.limits]:
        assert name in " ".join(said.split())
    for given in study.inputs.values():
        if not given.default:
            assert given.key in said
    assert "…" not in said
    assert not re.search(r"\d\n +(mm|N|kg|m/s|deg|°)\b", said)


def test_conditions_evaluated_together_are_what_each_is_alone(squatline: Cli) -> None:
    from dataclasses import replace

    study = load_study(DEMO)
    together = nominal_values(study)
    for name, condition in study.conditions.items():
        alone = nominal_values(replace(study, conditions={name: condition}))
        assert alone[name] == pytest.approx(together[name], rel=1e-9)
    asked = asked_at_nominal(study)
    assert {where: {one: together[where][one] for one in found} for where, found in asked.items()} == asked
    assert sum(map(len, asked.values())) < sum(map(len, together.values())) / 4


@pytest.mark.long
def test_it_costs_little_more_than_what_it_has_to_import(tmp_path: Path) -> None:
    """The best of up to sixteen by turns, since others use the machine, which has not one speed."""
    write_template(tmp_path, CarHas(2, "electric", "fitted", "spring", wake=True))

    def spent(script: str, *arguments: str) -> tuple[float, list[str]]:
        done = subprocess.run(
            [sys.executable, "-c", script, *arguments], capture_output=True, text=True, check=True
        )
        seconds, *loaded = done.stderr.split()
        return float(seconds), loaded

    _, loaded = spent(CHECK, str(tmp_path))
    assert not HEAVY & set(loaded)
    needed = [name for name in loaded if name.split(".")[0] in ("explorer", "reports")]
    turns: list[tuple[float, float]] = []
    while len(turns) < 16:
        turns.append((spent(CHECK, str(tmp_path))[0], spent(IMPORTS, *needed)[0]))
        quickest, imports = (min(of) for of in zip(*turns, strict=True))
        if quickest < 1.5 * imports:
            break
    assert quickest < 1.5 * imports
