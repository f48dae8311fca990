"""Pictures of failing cars and of the nominal car's curves: what they draw, and what their captions state."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from explorer.estimators.groups import apart, fifths, missed_together
from explorer.results.curves import Curves, RunOverStrip
from explorer.results.failing_cars import FailingCars, InputApart, MissedTogether
from reports.blocks import Figure, Gallery, Section
from reports.report import Report
from reports.sections import failing, runs
from tests.report_analyses import with_findings
from tests.report_fixture import make_results


def figures_of(section: Section | None) -> dict[str, Figure]:
    assert section is not None
    found: dict[str, Figure] = {}
    for block in section.blocks:
        for one in block.figures if isinstance(block, Gallery) else (block,):
            assert isinstance(one, Figure)
            found[one.name] = one
    return found


def words(figure: Figure) -> str:
    return "".join(
        part if isinstance(part, str) else part.text("as given")  # type: ignore[union-attr]
        for part in figure.caption
    )


@pytest.fixture(scope="module")
def cars() -> dict[str, Figure]:
    results = make_results()
    samples = results.samples
    assert samples is not None
    limits = results.summary.limits[::3]
    missing = [~(samples[one.column].to_numpy() >= one.low) for one in limits]
    key = "rear_wheel_rate"
    values = samples[key].to_numpy()
    found = FailingCars(
        limits[0].name,
        int(np.sum(missing[0])),
        len(values),
        (InputApart(key, apart(values, missing[0])),),
        fifths(values, missing[0]),
    )
    together = MissedTogether(tuple(one.name for one in limits), missed_together(missing), len(values))
    report = Report(with_findings(failing=(found,), together=together))
    return figures_of(failing.build(report)) | figures_of(failing.build_others(report))


def test_dark_points_are_the_cars_that_miss_the_limit(cars: dict[str, Figure]) -> None:
    figure = cars["driver-front-wheels-carry-load"]
    rows = next(rows for rows in figure.charts[0]["datasets"].values() if len(rows) > 50)
    assert all((row["y"] < 0) == (row["side"] == "miss it") for row in rows)
    assert {row["side"] for row in rows} == {"meet it", "miss it"}
    assert "of the fifth of cars with the" in words(figure)
    assert figure.numbers is not None


def test_captions_state_which_way_failing_cars_differ(cars: dict[str, Figure]) -> None:
    said = words(cars["apart-front-wheels-carry-load"])
    assert said.startswith("Cars that miss it have a lower rear wheel rate")
    assert "Of the cars that miss" in words(cars["missed-together"])


def test_without_a_cause_nothing_is_drawn() -> None:
    report = Report(make_results())
    assert failing.build(report) is None
    assert failing.build_others(report) is None
    assert runs.build(report) is None
    assert runs.build_push(report) is None


@pytest.mark.long
def test_the_run_and_the_travel_name_their_worst_places() -> None:
    run = RunOverStrip(
        "open", True, (0.0, 50.0, 100.0), (1.0, 30.0, 40.0), (100.0, 150.0), (40.0, 0.1), 20.0, 30.0, 150.0
    )
    at = (0.0, 0.5, 1.0)
    travel = Curves(
        "open_55",
        "flap_opening",
        at,
        {
            "upper_angle": (0.8, 0.4, 0.0),
            "servo_working_torque": (0.02, 0.05, 0.01),
            "servo_available_torque": (0.1, 0.1, 0.1),
            "slot_gap": (0.001, 0.002, 0.003),
        },
    )
    push = Curves(
        "open_55", "speed", (5.0, 50.0), {"driving_force": (90.0, 40.0), "resistance_force": (2.0, 60.0)}
    )
    shut = replace(run, condition="closed", flap_used=False, speed=(1.0, 28.0, 36.0))
    report = Report(with_findings(runs=(shut, run), curves=(travel, push), families={"element": ("upper",)}))
    drawn = figures_of(runs.build(report))
    assert words(drawn["run-over-strip"]).startswith("Opening the flap gains 14.4\N{NO-BREAK SPACE}km/h")
    assert "Flap open: 144.0 km/h at 100" in words(drawn["run-over-strip"]).replace("\N{NO-BREAK SPACE}", " ")
    assert "at 50\N{NO-BREAK SPACE}% of the travel" in words(drawn["travel-torque"])
    assert "flap shut" in words(drawn["travel-gap"])
    push_drawn = figures_of(runs.build_push(report))["push-and-resistance"]
    for figure in (*drawn.values(), push_drawn):
        assert figure.charts
        assert figure.numbers is not None
        assert figure.spoken("as given")
