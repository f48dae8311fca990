"""Pictures of failing cars and of the nominal car's curves: what they draw, and what their captions state."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise
from xml.etree import ElementTree

import numpy as np
import pytest

from explorer.estimators.groups import apart, fifths, missed_together
from explorer.results.curves import Curves, RunOverStrip
from explorer.results.failing_cars import FailingCars, InputApart, MissedTogether
from reports.blocks import Figure, Gallery, Section
from reports.drawings.sideview import two_cars
from reports.report import Report
from reports.sections import failing, runs
from tests.report_analyses import with_findings
from tests.report_fixture import make_results
from tests.reports.test_charts import CAR


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


def test_cars_on_both_sides_of_the_limit_are_drawn() -> None:
    """Of two hundred cars hardly one misses a limit that one in a hundred misses: more of those are drawn."""
    results = make_results()
    samples = results.samples
    assert samples is not None
    limit, key = results.summary.limits[0], "rear_wheel_rate"
    values = samples[limit.column].to_numpy()
    for share, side in ((0.01, "that miss the limit"), (0.99, "that meet it")):
        bound = float(np.nanquantile(values, share))
        missing = ~(values >= bound)
        found = FailingCars(
            limit.name,
            int(np.sum(missing)),
            len(values),
            (InputApart(key, apart(samples[key].to_numpy(), missing)),),
            fifths(samples[key].to_numpy(), missing),
        )
        limits = (replace(limit, low=bound), *results.summary.limits[1:])
        figure = figures_of(failing.build(Report(with_findings(failing=(found,), limits=limits))))[
            "driver-front-wheels-carry-load"
        ]
        rows = next(rows for rows in figure.charts[0]["datasets"].values() if len(rows) > 50)
        sides = [row["side"] for row in rows]
        assert min(sides.count("miss it"), sides.count("meet it")) >= 20
        said = " ".join(words(figure).split())
        assert f"{len(rows)} of 8 192 cars drawn, the first ones and " in said
        assert said[said.index("the first ones and ") :].partition(" more ")[2].startswith(side)
        # Some have no answer, and are nowhere in the picture.
        unanswered = int(np.sum(np.isnan(values)))
        assert f"Not drawn: {unanswered} cars without an answer." in said


def test_no_word_beside_two_cars_is_crossed_by_a_line() -> None:
    """A car so steep that its floor would go into the ground, long words and short ones, parts all around."""
    car = {**CAR, "rear_compression": 0.06, "splitter_station": -0.08, "floor_station": 0.1}
    written = [
        ("splitter_downforce_coefficient", "a long splitter downforce coefficient 0.640 (0.550)"),
        ("floor_pitch_slope", "floor pitch slope 0.745 1/rad (0.900 1/rad), which is long as well"),
        ("rear_wheel_rate", "rear wheel rate 1 (2)"),
        ("wing_station", "wing station 405 mm (400 mm)"),
    ]
    drawing = two_cars(car, car, ("edge",), written, ("one", "other"), system="metric", display={}, factor=1)
    root = ElementTree.fromstring(drawing)
    place = "{http://www.w3.org/2000/svg}"
    assert float(root.attrib["height"]) > 224 + 14 * len(written)
    boxes = [
        (float(one.attrib["x"]), float(one.attrib["y"]), 5.1 * len(one.text or ""))
        for one in root.iter(f"{place}text")
        if (one.text or "") in {words for _, words in written}
    ]
    assert len(boxes) == len(written)
    for line in root.iter(f"{place}polyline"):
        corners = [tuple(map(float, corner.split(","))) for corner in line.attrib["points"].split()]
        for (x0, y0), (x1, y1) in pairwise(corners):
            for part in np.linspace(0, 1, 400):
                x, y = x0 + part * (x1 - x0), y0 + part * (y1 - y0)
                assert not any(left < x < left + wide and low - 7 < y < low for left, low, wide in boxes)


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
