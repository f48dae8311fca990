"""Makes the logs of this demo from a car that is known exactly.  Nothing here was measured.

Each number of the true car lies within what the study believes of it; what is off is the rear wheel rate,
which is softer than the spring maker says, and the drag, which is higher than that of the sister car.
Run it from the root of the repository: ``PYTHONPATH=. python studies/airfield-sprint/logs/make_logs.py``.
"""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np

from explorer.logs.fitting.ride_height_log import Forward
from explorer.logs.forward import forward_model
from explorer.study.study import load_study
from tests.synthetic import (
    Roughness,
    make_coast_down,
    make_speed_run,
    make_spring_test,
    random_stream,
    write_log,
)

HERE = Path(__file__).parent
DATE = "2026-03-14"
SEED = 314

TRUE_CAR = {
    "rear_wheel_rate": 2450.0,
    "body_drag_area": 0.0318,
    "rolling_resistance": 0.0235,
    "wing_drag_coefficient_closed": 0.33,
    "wing_drag_coefficient_open": 0.095,
    "wing_downforce_coefficient_closed": 1.50,
    "wing_downforce_coefficient_open": 0.37,
    "splitter_downforce_coefficient": 0.57,
    "front_wheel_rate": 3050.0,
    "mass": 4.61,
    "rotating_mass_factor": 1.05,
    "static_pitch": math.radians(-0.44),
}
THAT_DAY = {"air_temperature": 287.15, "air_pressure": 101600.0, "relative_humidity": 0.6}
HEADWIND, GRADE = 0.8, 0.002

UP, DOWN = np.arange(0.0, 4.01, 0.5), np.arange(3.5, -0.01, -0.5)
WEIGHTS = 9.80665 * np.concatenate([UP, DOWN, UP[1:], DOWN])
GAUGE = Roughness(noise=5e-5)
SATELLITE = Roughness(noise=0.12, lapse=2.0, outliers=0.01, outlier_size=3.0, dropouts=1, dropout_rows=4)
# Two distance sensors, one at each end of the floor.
SENSORS = Roughness(noise=math.radians(0.08), lapse=2.0, outliers=0.01, outlier_size=math.radians(1.5))


def true_car(names: list[str]) -> Forward:
    """Return the true car as a function of condition and speed."""
    study = load_study(HERE.parent)
    given = {
        condition: {
            **{name: one.distribution.nominal for name, one in study.given_in(condition).items()},
            **TRUE_CAR,
            **THAT_DAY,
        }
        for condition in ("closed", "open")
    }
    return forward_model(study.graph, names, given, [])


def make_all(folder: Path = HERE) -> None:
    """Write all logs."""
    make_rear_spring_test(folder)
    make_coast_downs(folder)
    make_closed_run(folder)


def make_rear_spring_test(folder: Path) -> None:
    """Weights on the rear axle, on and off twice, the dial gauge at the wing mount."""
    truth = {"rear_wheel_rate": TRUE_CAR["rear_wheel_rate"], "friction": 0.5, "play": 1e-4}
    load, deflection, _ = make_spring_test(
        WEIGHTS / 2,
        rate=truth["rear_wheel_rate"],
        friction=truth["friction"],
        play=truth["play"],
        rough=GAUGE,
        random=random_stream(SEED),
    )
    write_log(
        folder / "rear_spring_test.csv",
        {"load": 2 * load, "deflection": deflection},
        {"load": "gf", "deflection": "mm"},
        truth=truth,
        seed=SEED,
        date=DATE,
        remarks=["weights on both rear wheels together, put on and taken off twice"],
    )


def make_coast_downs(folder: Path) -> None:
    """Roll out there and back, flap closed and open."""
    for number, (flap, direction) in enumerate(
        [("closed", 1), ("closed", -1), ("open", 1), ("open", -1)], start=1
    ):
        names = ["drag_area", "total_downforce", "dynamic_pressure", "air_density"]
        car = true_car(names)(flap, {}, np.array([20.0]))
        truth = {
            "drag_area": float(car["drag_area"][0]),
            "rolling_resistance": TRUE_CAR["rolling_resistance"],
            "mass": TRUE_CAR["mass"],
            "rotating_mass_factor": TRUE_CAR["rotating_mass_factor"],
            "air_density": float(car["air_density"][0]),
            "headwind": HEADWIND,
            "grade": GRADE,
            "downforce_area": float(car["total_downforce"][0] / car["dynamic_pressure"][0]),
        }
        run = make_coast_down(
            **truth,
            first_speed=30.0,
            duration=9.0,
            rows=91,
            direction=direction,
            flap=flap,
            rough=SATELLITE,
            random=random_stream(SEED + number),
        )
        way = {1: "there", -1: "back"}[direction]
        write_log(
            folder / f"coast_down_{flap}_{way}.csv",
            {"time": run.time, "speed": run.speed},
            {"time": "s", "speed": "km/h"},
            truth=truth,
            seed=SEED + number,
            date=DATE,
            remarks=[f"flap {flap}, driven {way}"],
        )


def make_closed_run(folder: Path) -> None:
    """Speed up the strip with the flap closed, pitch from two distance sensors."""
    random = random_stream(SEED + 10)
    time = np.linspace(0.0, 6.0, 121)
    speed = 18.0 + 29.0 * (1 - np.exp(-time / 3.0)) / (1 - math.exp(-2.0))
    run = make_speed_run(true_car(["pitch"]), {}, "closed", speed, {"pitch": SENSORS}, random=random)
    write_log(
        folder / "closed_run.csv",
        {"time": time, "speed": run.speed, "pitch": run.measured["pitch"]},
        {"time": "s", "speed": "km/h", "pitch": "deg"},
        truth=TRUE_CAR,
        seed=SEED + 10,
        date=DATE,
        remarks=["flap closed all along"],
    )


if __name__ == "__main__":
    make_all()
