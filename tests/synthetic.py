"""Made-up logs with known truth, for tests and demos; the first line of every file says so."""

from __future__ import annotations

import csv
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

import numpy as np

from explorer.graph.arrays import Array
from explorer.logs.fitting.coast_down import CoastDownRun, coasting_speed
from explorer.logs.fitting.full_throttle import ThrottleRun
from explorer.logs.fitting.ride_height_log import Forward, SpeedRun
from explorer.logs.reader import SYNTHETIC_MARK

GRAVITY = 9.80665


@dataclass(frozen=True)
class Roughness:
    """What a logger does to the truth.

    Attributes
    ----------
    noise:
        Standard deviation of a reading, in the unit of the quantity.
    lapse:
        How many rows it takes for an error to fade (1/e); zero for errors independent of each other.
    outliers, outlier_size:
        Share of rows that are grossly wrong, and by how much, either way.
    dropouts, dropout_rows:
        Number of gaps, and the rows each of them swallows.
    """

    noise: float = 0.0
    lapse: float = 0.0
    outliers: float = 0.0
    outlier_size: float = 0.0
    dropouts: int = 0
    dropout_rows: int = 5


PERFECT = Roughness()


def random_stream(seed: int) -> np.random.Generator:
    """Return the random numbers of a seed: the same on every machine."""
    return np.random.Generator(np.random.Philox(seed))


def roughened(truth: Array, rough: Roughness, random: np.random.Generator) -> Array:
    """Add scatter, outliers and dropouts (NaN) to a true log of shape (rows,)."""
    errors = random.standard_normal(len(truth))
    if rough.lapse > 0:
        from scipy.signal import lfilter

        keep = float(np.exp(-1 / rough.lapse))
        # The first error stands for a long history, so that the scatter is the same from the first row on.
        errors[1:] *= np.sqrt(1 - keep**2)
        errors = np.asarray(lfilter([1.0], [1.0, -keep], errors))
    logged = truth + rough.noise * errors
    wrong = random.random(len(truth)) < rough.outliers
    logged = logged + wrong * rough.outlier_size * random.choice([-1.0, 1.0], len(truth))
    for start in random.integers(0, max(len(truth) - rough.dropout_rows, 1), rough.dropouts):
        logged[start : start + rough.dropout_rows] = np.nan
    return np.asarray(logged)


def make_coast_down(
    *,
    drag_area: float,
    rolling_resistance: float,
    mass: float,
    rotating_mass_factor: float,
    air_density: float,
    headwind: float = 0.0,
    grade: float = 0.0,
    downforce_area: float = 0.0,
    first_speed: float = 40.0,
    duration: float = 12.0,
    rows: int = 120,
    direction: Literal[1, -1] = 1,
    flap: str = "closed",
    rough: Roughness = PERFECT,
    random: np.random.Generator,
) -> CoastDownRun:
    """Make one coast-down run; wind and slope as met in direction 1.  All in SI units."""
    inertia = mass * rotating_mass_factor
    square = air_density * (drag_area + rolling_resistance * downforce_area) / (2 * inertia)
    rolling = rolling_resistance * np.cos(grade) + direction * np.sin(grade)
    wind = direction * headwind
    time = np.linspace(0.0, duration, rows)
    constant = np.asarray(GRAVITY * rolling / rotating_mass_factor)
    truth = coasting_speed(time, np.asarray(first_speed + wind), np.asarray(square), constant) - wind
    speed = roughened(truth, rough, random)
    here = np.isfinite(speed)
    return CoastDownRun(time[here], speed[here], direction, flap)


def make_spring_test(
    loads: Array,
    *,
    rate: float,
    preload: float = 0.0,
    play: float = 0.0,
    friction: float = 0.0,
    rough: Roughness = PERFECT,
    random: np.random.Generator,
) -> tuple[Array, Array, Array]:
    """Make a spring test; return load, deflection and 1 or -1 for adding or taking off load.

    Loads in the order applied [N]; rate [N/m], preload and friction [N], play [m].
    """
    loading = np.sign(np.diff(loads, prepend=loads[0] - 1.0))
    carried = np.maximum(loads - loading * friction - preload, 0.0)
    deflection = roughened(play + carried / rate, rough, random)
    here = np.isfinite(deflection)
    return loads[here], deflection[here], loading[here]


def make_weighings(
    rises: Array,
    *,
    mass: float,
    cg_station: float,
    cg_height: float,
    wheelbase: float,
    axle_height: float,
    rough: Roughness = PERFECT,
    random: np.random.Generator,
) -> tuple[Array, Array]:
    """Make weighings at given rises of the rear axle; return front and rear readings [kg]."""
    tangent = np.tan(np.arcsin(rises / wheelbase))
    front = mass * ((wheelbase - cg_station) + (cg_height - axle_height) * tangent) / wheelbase
    return roughened(front, rough, random), roughened(mass - front, rough, random)


def make_throttle_run(
    *,
    wheel_power: float,
    drive_efficiency: float,
    drag_area: float,
    rolling_resistance: float,
    mass: float,
    rotating_mass_factor: float,
    air_density: float,
    first_speed: float = 5.0,
    duration: float = 8.0,
    rows: int = 200,
    rough: Roughness = PERFECT,
    power_noise: float = 0.0,
    random: np.random.Generator,
) -> ThrottleRun:
    """Make a full-throttle run at constant power, the equation of motion solved numerically."""
    from scipy.integrate import solve_ivp

    def rate(_: float, state: Array) -> Array:
        speed = float(state[0])
        resisting = air_density * drag_area * speed**2 / 2 + rolling_resistance * mass * GRAVITY
        return np.array([(wheel_power / speed - resisting) / (mass * rotating_mass_factor)])

    time = np.linspace(0.0, duration, rows)
    solved = solve_ivp(rate, (0.0, duration), [first_speed], t_eval=time, rtol=1e-9, atol=1e-9)
    speed = roughened(solved.y[0], rough, random)
    power = wheel_power / drive_efficiency + power_noise * random.standard_normal(rows)
    here = np.isfinite(speed)
    return ThrottleRun(time[here], speed[here], power[here])


def make_flap_travel(
    *,
    travel_time: float,
    delay: float,
    angle_before: float,
    angle_after: float,
    duration: float = 1.0,
    rows: int = 120,
    rough: Roughness = PERFECT,
    random: np.random.Generator,
) -> tuple[Array, Array]:
    """Make a flap movement, the command at time zero; return time and angle."""
    time = np.linspace(0.0, duration, rows)
    share = np.clip((time - delay) / travel_time, 0.0, 1.0)
    angle = roughened(angle_before + (angle_after - angle_before) * share, rough, random)
    here = np.isfinite(angle)
    return time[here], angle[here]


def make_speed_run(
    forward: Forward,
    values: Mapping[str, float],
    condition: str,
    speed: Array,
    quantities: Mapping[str, Roughness],
    *,
    random: np.random.Generator,
) -> SpeedRun:
    """Make a log of quantities against speed from a model; one roughness for each quantity."""
    predicted = forward(condition, values, speed)
    measured = {
        name: roughened(np.broadcast_to(predicted[name], speed.shape).astype(float), rough, random)
        for name, rough in quantities.items()
    }
    here = np.all([np.isfinite(each) for each in measured.values()], axis=0)
    return SpeedRun(condition, speed[here], {name: each[here] for name, each in measured.items()})


def write_log(
    path: str | Path,
    columns: Mapping[str, Array],
    units: Mapping[str, str],
    *,
    truth: Mapping[str, float],
    seed: int,
    date: str,
    remarks: Sequence[str] = (),
) -> dict[str, dict[str, str]]:
    """Write a made-up log as CSV, marked as synthetic and with its truth in the first lines.

    Parameters
    ----------
    columns:
        Quantity -> values in SI units, all of shape (rows,); NaN becomes an empty cell.
    units:
        Quantity -> unit to write it in.
    truth:
        What it was made from, in SI units.
    seed, date:
        Seed of its random numbers, and the day to put on it.
    remarks:
        Further comment lines.

    Returns
    -------
    dict
        What ``read_log`` wants to know: quantity -> column and unit.
    """
    from explorer.graph.units import from_si

    named = {quantity: f"{quantity} [{units[quantity]}]" for quantity in columns}
    shown = [np.asarray(from_si(columns[quantity], units[quantity])) for quantity in columns]
    comments = [
        f"{SYNTHETIC_MARK}: made from known values, not measured",
        f"date: {date}",
        f"seed: {seed}",
        *(f"truth: {name} = {value:.9g} (SI)" for name, value in truth.items()),
        *remarks,
    ]
    with Path(path).open("w", encoding="utf-8", newline="") as file:
        file.writelines(f"# {line}\n" for line in comments)
        writer = csv.writer(file, lineterminator="\n")
        writer.writerow(named.values())
        for row in zip(*shown, strict=True):
            writer.writerow("" if np.isnan(value) else f"{value:.9g}" for value in row)
    return {quantity: {"column": name, "unit": units[quantity]} for quantity, name in named.items()}
