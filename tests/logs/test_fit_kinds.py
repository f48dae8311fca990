"""Every kind of fit that a study may ask for, from a made log of known truth to estimates."""

from __future__ import annotations

import math
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from log_help import copied, with_sections, write_columns
from statistics_help import within
from study_help import AIRFIELD, CHASE

from explorer.errors import StudyError
from explorer.logs.fits import Fitted, fit
from explorer.logs.fitting.ride_height_log import Forward
from explorer.logs.forward import forward_model
from explorer.study.study import Study
from tests.synthetic import (
    Roughness,
    make_flap_travel,
    make_throttle_run,
    make_weighings,
    random_stream,
    roughened,
)

Fits = Callable[..., Fitted]


@pytest.fixture
def fitted(tmp_path: Path) -> Fits:
    """Fit one log of its own in a copy of a demo study."""

    def find(section: str, source: Path = AIRFIELD, *, update: bool = False, **columns: np.ndarray) -> Fitted:
        folder = copied(tmp_path, source)
        write_columns(folder / "mine.csv", columns)
        study = with_sections(folder, f'[fits.mine]\nfile = "mine.csv"\n{section}')
        return fit(study, "mine", update=update)[0]

    return find


def hit(found: Fitted, name: str, truth: float, z: float = 4.0) -> bool:
    return within(found.fit.value(name), truth, found.fit.standard_uncertainty(name), z)


def test_weighing_level_and_tilted(fitted: Fits) -> None:
    rises = np.array([0.0, 0.0, 0.06, 0.06, 0.1, 0.1, 0.14, 0.14])
    truth = {"mass": 4.62, "cg_station": 0.170, "cg_height": 0.052}
    front, rear = make_weighings(
        rises,
        **truth,
        wheelbase=0.325,
        axle_height=0.05,
        rough=Roughness(noise=0.004),
        random=random_stream(5),
    )
    # The rear axle was left out of the last weighings.
    found = fitted(
        """kind = "scales"
        known = { axle_height = { mean = 50, sd = 0.5, unit = "mm" } }
        columns = { front_load = { column = "f", unit = "kg" }, rear_load = { column = "r", unit = "kg" }, """
        """rise = { column = "up", unit = "m" } }""",
        f=front,
        up=rises,
        r=rear[:6],
    )
    assert found.inputs == ("mass", "cg_station", "cg_height")
    assert all(hit(found, name, value) for name, value in truth.items())
    assert found.believed["cg_station"].standard_uncertainty == pytest.approx(4e-3)


def test_tilted_weighing_needs_the_height_of_the_axles(fitted: Fits) -> None:
    with pytest.raises(StudyError, match=r"fits\.mine\.known\.axle_height: the fit needs axle_height"):
        fitted(
            """kind = "scales"
            columns = { front_load = { column = "f", unit = "kg" }, rear_load = { column = "r", """
            """unit = "kg" }, rise = { column = "up", unit = "m" } }""",
            f=np.array([2.2, 2.3, 2.2]),
            r=np.array([2.4, 2.3, 2.4]),
            up=np.array([0.0, 0.1, 0.0]),
        )


def test_readings_taken_together_are_correlated_and_taken_apart_are_not(fitted: Fits, tmp_path: Path) -> None:
    # JCGM 100 H.2, table H.2: five readings of voltage and current taken together, r = -0.36.
    voltage = np.array([5.007, 4.994, 5.005, 4.990, 4.999])
    current = np.array([19.663, 19.639, 19.640, 19.685, 19.678])
    columns = (
        'kind = "readings"\ncolumns = { mass = { column = "V", unit = "kg" }, '
        'cg_height = { column = "I", unit = "mm" } }'
    )
    together = fitted(columns, V=voltage, I=current)
    assert together.fit.estimates == pytest.approx([4.9990, 19.6610e-3], rel=1e-4)
    assert together.fit.standard_uncertainties == pytest.approx([0.0032, 0.0095e-3], rel=0.02)
    assert together.fit.correlation[0, 1] == pytest.approx(-0.36, abs=0.005)
    other = tmp_path / "apart"
    other.mkdir()
    folder = copied(other)
    write_columns(folder / "mine.csv", {"V": voltage, "I": current[:4]})
    apart = fit(with_sections(folder, f'[fits.mine]\nfile = "mine.csv"\n{columns}'), "mine")[0]
    assert apart.fit.correlation[0, 1] == 0
    assert apart.fit.rows == 9


POWER = {"wheel_power": 3400.0, "drag_area": 0.043, "rolling_resistance": 0.02, "mass": 4.6}
SPEEDS = 'columns = { time = { column = "t", unit = "s" }, speed = { column = "v", unit = "m/s" } }'
KNOWN = """
[fits.mine.known]
drag_area = { mean = 0.043, sd = 0.0006, unit = "m2" }
rolling_resistance = { mean = 0.02, sd = 0.002 }
air_density = { mean = 1.22, sd = 0.004, unit = "kg/m3" }
"""


def throttle_run(**changes: float) -> dict[str, np.ndarray]:
    """Make a run in which nothing presses the car down, as the made car has no downforce."""
    run = make_throttle_run(
        **{**POWER, **changes},
        drive_efficiency=0.6,
        rotating_mass_factor=1.05,
        air_density=1.22,
        first_speed=15.0,
        rough=Roughness(noise=0.15),
        power_noise=25.0,
        random=random_stream(8),
    )
    assert run.electrical_power is not None
    return {"t": run.time, "v": run.speed, "p": run.electrical_power}


def test_power_at_the_wheels_goes_back_where_the_drive_has_one_power(fitted: Fits) -> None:
    run = throttle_run(drag_area=0.043 - 0.02 * 0.061)
    found = fitted(f'kind = "wheel_power"\n{SPEEDS}\n{KNOWN}', t=run["t"], v=run["v"])
    assert found.inputs == ("wheel_power",)
    assert hit(found, "wheel_power", 3400.0)
    # Shaft power times efficiency, as the study has it.
    assert found.believed["wheel_power"].value == pytest.approx(4200 * 0.83, rel=0.01)
    assert sum("was taken as" in note for note in found.fit.notes) == 2


def test_power_that_follows_the_speed_does_not_go_back(fitted: Fits) -> None:
    run = throttle_run()
    section = f'kind = "wheel_power"\nknots = ["16 m/s", "35 m/s"]\n{SPEEDS}\n{KNOWN}'
    found = fitted(section, t=run["t"], v=run["v"])
    assert found.fit.names == ("wheel_power_at_16", "wheel_power_at_35")
    assert found.inputs == ()


def test_efficiency_from_battery_to_road_is_not_that_of_the_gears(fitted: Fits) -> None:
    columns = SPEEDS.removesuffix(" }") + ', electrical_power = { column = "p", unit = "W" } }'
    run = throttle_run(drag_area=0.043 - 0.02 * 0.061)
    found = fitted(f'kind = "drive_efficiency"\n{columns}\n{KNOWN}', **run)
    assert found.fit.names == ("battery_to_road_efficiency",)
    assert hit(found, "battery_to_road_efficiency", 0.6)
    assert found.inputs == ()
    assert found.contradiction is None


def test_efficiency_from_shaft_power_is_the_one_of_the_study(fitted: Fits) -> None:
    columns = SPEEDS.removesuffix(" }") + ', shaft_power = { column = "p", unit = "W" } }'
    found = fitted(f'kind = "drive_efficiency"\n{columns}\n{KNOWN}', **throttle_run())
    assert found.inputs == ("drive_efficiency",)
    assert found.contradiction is not None
    # 0.6 was made, 0.83 +- 0.03 was believed.
    assert found.contradiction.contradicts


def test_top_speed_is_held_against_the_predicted_one(fitted: Fits) -> None:
    run = make_throttle_run(
        wheel_power=4200 * 0.83,
        drive_efficiency=0.8,
        drag_area=0.041,
        rolling_resistance=0.025,
        mass=4.6,
        rotating_mass_factor=1.05,
        air_density=1.22,
        first_speed=20.0,
        duration=25.0,
        rough=Roughness(noise=0.15),
        random=random_stream(2),
    )
    found = fitted(f'kind = "top_speed"\ncondition = "closed"\n{SPEEDS}', t=run.time, v=run.speed)
    assert found.inputs == ()
    assert found.believed["top_speed"].value == pytest.approx(52, abs=1)
    assert found.contradiction is not None
    section = f'[fits.two]\nkind = "top_speed"\nfile = "x"\ncondition = "closd"\n{SPEEDS}'
    with pytest.raises(StudyError, match="no condition is called 'closd'"):
        fit(with_sections(found.study.folder, section), "two")


def test_battery_and_tyres_of_the_electric_drive(fitted: Fits, tmp_path: Path) -> None:
    random = random_stream(4)
    current = random.uniform(5, 120, 80)
    voltage = roughened(33.1 - 0.0135 * current, Roughness(noise=0.05), random)
    section = (
        'kind = "battery"\ncolumns = { voltage = { column = "u", unit = "V" }, '
        'current = { column = "i", unit = "A" } }'
    )
    found = fitted(section, CHASE, u=voltage, i=current)
    assert found.inputs == ("battery_voltage", "battery_resistance")
    assert hit(found, "battery_voltage", 33.1)
    assert hit(found, "battery_resistance", 0.0135)
    speed = np.linspace(5, 45, 90)
    revs = speed / (0.0497 * (1 + 1e-5 * speed**2)) * 2.6 * 60 / (2 * math.pi)
    logged = {"v": roughened(speed, Roughness(noise=0.1), random), "n": revs}
    write_columns(found.study.folder / "tyres.csv", logged)
    study = with_sections(
        found.study.folder,
        '[fits.tyres]\nkind = "tyre_radius"\nfile = "tyres.csv"\ncolumns = { speed = { column = "v", '
        'unit = "m/s" }, motor_speed = { column = "n", unit = "rpm" } }',
    )
    tyres = fit(study, "tyres")[0]
    assert hit(tyres, "tyre_radius", 0.0497)
    assert tyres.inputs == ("tyre_radius", "tyre_growth")
    # Growth is a default of the model, which nobody gave: no belief to contradict.
    assert set(tyres.believed) == {"tyre_radius"}


def test_battery_of_a_study_without_one_goes_nowhere(fitted: Fits) -> None:
    current = np.linspace(5, 120, 40)
    section = (
        'kind = "battery"\ncolumns = { voltage = { column = "u", unit = "V" }, '
        'current = { column = "i", unit = "A" } }'
    )
    found = fitted(section, u=33 - 0.014 * current + 0.01 * np.sin(current), i=current)
    assert found.inputs == ()
    assert found.contradiction is None


def test_flap_travel_in_still_air_tells_the_servo(fitted: Fits) -> None:
    time, angle = make_flap_travel(
        travel_time=0.12,
        delay=0.2,
        angle_before=0.9,
        angle_after=0.05,
        rough=Roughness(noise=0.01),
        random=random_stream(3),
    )
    section = (
        'kind = "flap_travel"\ncolumns = { time = { column = "t", unit = "s" }, '
        'angle = { column = "a", unit = "rad" } }'
    )
    found = fitted(section, CHASE, t=time, a=angle)
    assert found.inputs == ("servo_sixty_degree_time",)
    # The servo of the study turns 60 degrees in its travel, so the times are the same.
    assert hit(found, "servo_sixty_degree_time", 0.12)
    assert {one.input for one in found.shared} == {"servo_travel"}


def test_hinge_pull_gives_the_friction_and_compares_the_moment(fitted: Fits) -> None:
    # Statics: moment (6 + 4)/2 N at 40 mm, friction (6 - 4)/2 N at 40 mm.
    section = """kind = "hinge_pull"
    element = "upper_flap"
    known = { arm = { value = "40 mm" } }
    [fits.mine.columns]
    opening_pull = { column = "o", unit = "gf" }
    closing_pull = { column = "c", unit = "gf" }"""
    grams = 1000 / 9.80665
    found = fitted(
        section,
        CHASE,
        o=grams * np.array([0.061, 0.059, 0.060, 0.060]),
        c=grams * np.array([0.040, 0.041, 0.039, 0.040, 0.040]),
    )
    assert found.fit.value("upper_flap_closing_moment") == pytest.approx(0.05 * 0.04, rel=2e-3)
    assert found.fit.value("upper_flap_pivot_friction_torque") == pytest.approx(0.01 * 0.04, rel=2e-3)
    assert found.inputs == ("upper_flap_pivot_friction_torque",)
    assert "upper_flap_closing_moment" in found.believed


@pytest.fixture
def sensors(tmp_path: Path) -> tuple[Study, Forward]:
    """Give the demo, and its graph as it would log front and rear ride heights of a slightly other car."""
    study = with_sections(copied(tmp_path), "")
    given = {
        condition: {name: one.distribution.nominal for name, one in study.given_in(condition).items()}
        | {"wing_downforce_coefficient_closed": 1.43, "wing_downforce_coefficient_open": 0.40}
        for condition in ("closed", "open")
    }
    return study, forward_model(study.graph, ["front_ride_height", "rear_ride_height"], given, [])


def test_wing_downforce_from_ride_heights_closed_and_open(sensors: tuple[Study, Forward]) -> None:
    study, forward = sensors
    random, speed = random_stream(6), np.linspace(12, 45, 80)
    rough = Roughness(noise=2e-4, outliers=0.01, outlier_size=0.01)
    for condition in ("closed", "open"):
        heights = forward(condition, {}, speed)
        logged = {
            # The gauges have zeros of their own.
            name[0]: roughened(heights[name] + zero, rough, random)
            for name, zero in (("front_ride_height", 0.03), ("rear_ride_height", 0.04))
        }
        write_columns(study.folder / f"{condition}.csv", {"v": speed, **logged})
    section = """[fits.mine]
    kind = "ride_height"
    find = ["wing_downforce_coefficient_closed", "wing_downforce_coefficient_open"]
    zeros = ["front_ride_height", "rear_ride_height"]
    runs = [{ file = "closed.csv", condition = "closed" }, { file = "open.csv", condition = "open" }]
    columns = { speed = { column = "v", unit = "m/s" }, front_ride_height = { column = "f", unit = "m" }, """
    section += 'rear_ride_height = { column = "r", unit = "m" } }'
    found = fit(with_sections(study.folder, section), "mine")[0]
    # The made car is the nominal one but for its wing, so only the scatter may be between truth and estimate.
    own = np.sqrt(np.diag(found.fit.scatter_covariance))
    assert np.all(np.abs(found.fit.estimates - [1.43, 0.40]) < 4 * own)
    # Springs of 2.6 +- 0.25 N/mm are what the downforce is measured with: 10 % of it is not known better.
    assert found.fit.standard_uncertainty("wing_downforce_coefficient_closed") > 0.08 * 1.43
    with_rate = {one.input: one.value for one in found.shared if one.estimate.endswith("closed")}
    assert with_rate["rear_wheel_rate"] > 0.8
    weigh_in = '[fits.weighed]\nweigh_in = ["wing_downforce_coefficient_closed"]'
    study = with_sections(study.folder, section.replace("[fits.mine]", weigh_in))
    with pytest.raises(StudyError, match="would count it twice"):
        fit(study, "weighed", update=True)


def test_ride_height_says_what_it_cannot_find(sensors: tuple[Study, Forward]) -> None:
    study, _ = sensors
    write_columns(study.folder / "closed.csv", {"v": np.linspace(10, 40, 30), "p": np.linspace(0, 0.02, 30)})
    base = """[fits.{name}]
    kind = "ride_height"
    file = "closed.csv"
    condition = "{condition}"
    find = ["{find}"]
    columns = {{ speed = {{ column = "v", unit = "m/s" }}, pitch = {{ column = "p", unit = "rad" }} }}"""
    sections = "\n".join(
        [
            base.format(name="one", condition="clsed", find="wing_pitch_slope"),
            base.format(name="two", condition="closed", find="pitch"),
        ]
    )
    study = with_sections(study.folder, sections)
    with pytest.raises(
        StudyError, match=r"fits\.one\.condition: a run is driven in a condition of the study"
    ):
        fit(study, "one")
    with pytest.raises(StudyError, match=r"fits\.two\.find: what is to be found is an input"):
        fit(study, "two")
