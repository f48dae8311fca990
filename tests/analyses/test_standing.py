"""Cars that stand on the road with a point of their body: every command with a figure of them says so."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from log_help import FRICTION, copied, on_points, with_sections, write_columns
from study_help import DEMO, ROOT, Answer

from explorer import fit, validate
from explorer.analyses.cautions_of_cars import live_cautions
from explorer.analyses.standing import (
    STAND,
    STANDS,
    cars_on_points,
    cars_on_points_along,
    of_cars_on_points,
    predicted_cars,
)
from explorer.console.explain import explain_quantity
from explorer.console.terminal_explain import explanation_blocks
from explorer.graph.words import in_unit
from explorer.graph.written import SPACE
from explorer.logs.forward import forward_model
from explorer.study.asked_for import Sweep
from explorer.study.beside import STANDING, STANDING_AT_TOP, standing_of
from explorer.study.study import Study, load_study

Cli = Callable[..., Answer]

RUN = """
[logged_runs.mine]
file = "mine.csv"
quantity = "pitch"
condition = "closed"
columns = { speed = { column = "v", unit = "m/s" }, pitch = { column = "p", unit = "rad" } }
"""
STRAIGHT = """
[logged_runs.straight]
file = "mine.csv"
quantity = "speed"
along = "time"
condition = "closed"
columns = { time = { column = "t", unit = "s" }, speed = { column = "v", unit = "m/s" } }
"""
FIT = """
[fits.mine]
kind = "ride_height"
file = "mine.csv"
condition = "closed"
find = ["wing_downforce_coefficient_closed"]
columns = { speed = { column = "v", unit = "m/s" }, pitch = { column = "p", unit = "rad" } }
"""
FAST, SLOW = np.linspace(20, 55, 30), np.linspace(5, 12, 30)


def logged(study: Study, speeds: np.ndarray = FAST, sections: str = RUN) -> Study:
    """Log the nominal car over some speeds, at the pitch that the study gives it."""
    given = {name: one.distribution.nominal for name, one in study.given_in("closed").items()}
    pitch = forward_model(study.graph, ["pitch"], {"closed": given}, [])("closed", {}, speeds)["pitch"]
    noise = 1e-3 * np.cos(7.0 * np.arange(len(speeds)))
    write_columns(study.folder / "mine.csv", {"t": np.arange(30.0), "v": speeds, "p": pitch + noise})
    return with_sections(study.folder, sections)


def told(notes: tuple[object, ...]) -> list[str]:
    return [one for one in map(str, notes) if STAND in one or STANDS in one]


@pytest.fixture(scope="module")
def points(tmp_path_factory: pytest.TempPathFactory) -> Study:
    return logged(on_points(tmp_path_factory.mktemp("points")))


def test_a_prediction_says_that_its_cars_scrape(points: Study, tmp_path: Path) -> None:
    """At 55 m/s every car of the study stands on a point; slowly none does, nor where points carry none."""
    (found,) = validate(points, "mine")
    (said,) = told(found.validation.notes)
    assert said.startswith(f"{predicted_cars(1.0)} somewhere along this run")
    assert "look under the logged car" in said
    (found,) = validate(logged(on_points(tmp_path / "slow"), SLOW), "mine")
    assert not told(found.validation.notes)
    (found,) = validate(logged(with_sections(copied(tmp_path, DEMO), "")), "mine")
    assert not told(found.validation.notes)


def test_a_run_down_the_straight_is_of_cars_at_full_throttle(tmp_path: Path) -> None:
    """Up to 26 m/s none of the cars stands on a point at a held speed, but some at the throttle of a run."""
    study = logged(on_points(tmp_path), np.linspace(20, 26, 30), STRAIGHT)
    held = Sweep("speed", "m/s", (26.0,), ("pitch",), ("closed",))
    assert cars_on_points_along(study, held, 2000) == ""
    assert told(validate(study, "straight")[0].validation.notes)


def test_a_fit_says_that_its_model_scrapes(points: Study, tmp_path: Path) -> None:
    study = with_sections(points.folder, FIT)
    (found,) = fit(study, "mine")
    (said,) = told(found.fit.notes)
    assert f"the car {STANDS} in " in said
    (found,) = fit(logged(on_points(tmp_path), SLOW, FIT), "mine")
    assert not told(found.fit.notes)


def test_the_desk_says_so_before_a_study_is_run(points: Study) -> None:
    """And whatever else is to be known of the cars, in the words of a run."""
    words = f"{predicted_cars(1.0)}. There these figures are of a car on its points: "
    assert any(words in in_unit(said) for said in live_cautions(points))
    assert not any(STAND in in_unit(said) for said in live_cautions(load_study(DEMO)))
    (said,) = live_cautions(load_study(ROOT / "studies" / "airfield-sprint"))
    assert "ease off when the front wheels lift" in in_unit(said)


def test_check_says_of_which_car_its_figures_are(points: Study, squatline: Cli) -> None:
    printed = " ".join(squatline("check", points.folder).out.split())
    assert f"the nominal car {STANDS}. There these figures are of a car on its points: " in printed
    assert f"the nominal car {STANDS} at top speed, which is then" in printed
    assert not any(STANDS in one for one in json.loads(squatline("check", DEMO, "--json").out)["warnings"])


def test_a_safety_limit_that_counts_cars_on_points_is_named(tmp_path: Path) -> None:
    """Only it may be met by them, and the reader of a verdict has to know of which that is."""
    counting = 'name = "Floor holds"\nquantity = "pitch"\ncondition = "closed_fast"\nat_most = "9 deg"\n'
    counting = f"[[limits]]\n{counting}probability = 0.9\nsafety = true\nstanding_counts = "
    for count, words in (("true", ", except “Floor holds”, with standing_counts"), ("false", "")):
        study = on_points(tmp_path / count, sections=f"{FRICTION}\n{counting}{count}\n")
        said = of_cars_on_points(study, STANDING, "closed_fast", "cars")
        assert said.endswith(f"Safety limits are judged as if no point carried anything{words}")


def test_where_only_safety_is_asked_no_figure_is_of_a_car_on_its_points(tmp_path: Path) -> None:
    limit = 'name = "Down"\nquantity = "pitch"\ncondition = "there"\nat_most = "9 deg"\nsafety = true\n'
    study = on_points(
        tmp_path,
        sections=f'{FRICTION}\n[conditions.there]\nlike = "closed_fast"\nwords = "there"\n'
        f"[[limits]]\n{limit}probability = 0.9\n",
    )
    said = of_cars_on_points(study, STANDING, "there", "cars")
    assert said == "there: cars. Safety limits are judged as if no point carried anything"


def test_explain_says_how_many_of_the_cars_stand(points: Study) -> None:
    study = replace(points, conditions={"closed_fast": points.conditions["closed_fast"]})
    entry = explain_quantity("pitch", study)
    assert entry.values[0].standing == predicted_cars(1.0)
    assert f"; {predicted_cars(1.0)}" in str(list(explanation_blocks(entry))).replace("\\xa0", SPACE)
    assert explain_quantity("mass", study).values[0].standing == ""
    assert standing_of(study.graph, "top_speed", study.given_names("closed_fast")) == STANDING_AT_TOP
    assert cars_on_points(STANDING_AT_TOP, np.array([1, 1, 0, 0])).endswith(f"{STAND} at top speed")
