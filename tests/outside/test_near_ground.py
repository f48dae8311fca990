"""A splitter that feels the ground: every balance found, and of several the one the car comes to.

The cars have the splitter's gain, gap and stall of the project's notes on the car as it is driven (invented).
"""

from __future__ import annotations

from itertools import pairwise
from typing import Any

import numpy as np
import pytest
from ground_help import AREAS, BASE, HEIGHTS, gain, gapped_map
from model_help import SPRINT_CAR, evaluate, scattered_cars
from scipy.integrate import solve_ivp
from scipy.interpolate import RegularGridInterpolator
from scipy.optimize import brentq

from explorer.graph.tables import LookupTable
from tests.checking import checks

CARS = 2000
FOUND = ["pitch", "front_compression", "rear_compression", "stable_attitudes"]


def gapped_cars(samples: int, seed: int = 3, **changes: Any) -> dict[str, Any]:
    """Scatter cars with a gain of 0.8 +- 0.15, a gap of 9 +- 1 mm, a stall at 2.5 +- 0.3 mm."""
    stream = np.random.default_rng(seed)
    return {
        **scattered_cars(samples),
        "splitter_ground_gain": stream.normal(0.8, 0.15, samples),
        "splitter_gap_at_rest": stream.normal(0.009, 0.001, samples),
        "splitter_critical_gap": stream.normal(0.0025, 0.0003, samples),
        **changes,
    }


class OneCar:
    """The balance of one car as two equations, for a gap that is assumed: statics, by numpy.linalg."""

    def __init__(self, cars: dict[str, Any], index: int, areas: dict[str, Any], speed: float = 0.0) -> None:
        self.car = {name: float(np.atleast_1d(v)[index if np.ndim(v) else 0]) for name, v in cars.items()}
        self.of = {name: float(np.atleast_1d(v)[index if np.ndim(v) else 0]) for name, v in areas.items()}
        self.place = self.car["splitter_station"] / BASE

    def system(self, more: float, pressure: float) -> tuple[np.ndarray, np.ndarray]:
        """Matrix and loads of both axles, the splitter's downforce increased by a share."""
        of, place, lean = self.of, self.place, self.car["static_pitch"]
        level = np.array([of["front_downforce_area"], of["rear_downforce_area"]])
        loss = np.array([of["front_downforce_area_loss"], of["rear_downforce_area_loss"]])
        split = np.array([1 - place, place])
        level = pressure * (level + more * of["splitter_downforce_area"] * split)
        loss = pressure * (loss + more * of["splitter_downforce_area_loss"] * split)
        rates = np.diag([of["front_axle_rate"], of["rear_axle_rate"]])
        return rates + np.outer(loss / BASE, [-1, 1]), level - loss * lean

    def off(self, gap: float, pressure: float | None = None) -> float:
        """Gap that the springs give when a gap is assumed, less that gap."""
        pressure = self.of["dynamic_pressure"] if pressure is None else pressure
        matrix, loads = self.system(float(gain(gap, self.car)) - 1, pressure)
        front, rear = np.linalg.solve(matrix, loads)
        return float(self.car["splitter_gap_at_rest"] - front - self.place * (rear - front) - gap)

    def stable(self) -> list[float]:
        """Every stable gap: signs on a fine scan, then brentq."""
        places = np.geomspace(1e-5, 0.3, 500)
        values = [self.off(place) for place in places]
        return [
            brentq(self.off, low, high, xtol=1e-15)
            for (low, a), (high, b) in pairwise(zip(places, values, strict=True))
            if a > 0 >= b
        ]


def gap_of(cars: dict[str, Any], found: dict[str, Any]) -> np.ndarray:
    """Gap under the splitter at an attitude: geometry."""
    lean = found["pitch"] - cars["static_pitch"]
    return np.asarray(
        cars["splitter_gap_at_rest"] - found["front_compression"] - lean * cars["splitter_station"]
    )


@pytest.mark.parametrize(("speed", "opening"), [(30.0, 1.0), (45.0, 0.0), (45.0, 1.0), (55.0, 1.0)])
def test_every_car_is_answered(speed: float, opening: float) -> None:
    """Independent solver: numpy.linalg.solve on both balance equations for an assumed gap.

    Zero and stable, for all cars.
    """
    cars = gapped_cars(CARS, speed=speed, flap_opening=opening)
    found, areas = evaluate(FOUND, cars), evaluate(list(AREAS), cars)
    assert np.all(np.isfinite(found["pitch"]))
    gaps = gap_of(cars, found)
    assert np.all(gaps > 0)
    for index in range(CARS):
        one, gap = OneCar(cars, index, areas), gaps[index]
        assert abs(one.off(gap)) < 1e-9
        assert one.off(gap * (1 - 1e-5)) > 0 > one.off(gap * (1 + 1e-5))


@pytest.mark.parametrize(("speed", "opening"), [(45.0, 0.0), (45.0, 1.0), (55.0, 1.0)])
def test_several_balances_are_counted(speed: float, opening: float) -> None:
    """Independent solver: brentq on a fine scan counts as many stable balances, ours one of them."""
    cars = gapped_cars(40, speed=speed, flap_opening=opening)
    found, areas = evaluate(FOUND, cars), evaluate(list(AREAS), cars)
    gaps = gap_of(cars, found)
    counted = []
    for index in range(40):
        stable = OneCar(cars, index, areas).stable()
        counted.append(len(stable))
        assert min(abs(np.array(stable) / gaps[index] - 1)) < 1e-7
    assert np.mean(np.array(counted) != found["stable_attitudes"]) <= 0.03
    assert np.mean(np.array(counted) > 1) > 0.05


def _settled(one: OneCar, speed: float, density: float) -> float:
    """Gap a heavily damped car has come to when its speed has risen slowly from rest."""

    def rates(time: float, travels: np.ndarray) -> np.ndarray:
        front, rear = travels
        gap = one.car["splitter_gap_at_rest"] - front - one.place * (rear - front)
        matrix, loads = one.system(float(gain(gap, one.car)) - 1, density / 2 * min(time, speed) ** 2)
        spare: np.ndarray = (loads - matrix @ travels) / 20.0
        return spare

    run = solve_ivp(rates, (0, speed + 2), [0.0, 0.0], method="LSODA", rtol=1e-8, atol=1e-12, max_step=0.05)
    front, rear = run.y[:, -1]
    return float(one.car["splitter_gap_at_rest"] - front - one.place * (rear - front))


@pytest.mark.parametrize(("speed", "opening"), [(45.0, 0.0), (45.0, 1.0), (55.0, 0.0)])
def test_of_several_the_car_takes_the_one_it_comes_to(speed: float, opening: float) -> None:
    """Independent solver: solve_ivp on a massless car on dampers, its speed rising from rest."""
    cars = gapped_cars(400, seed=8, speed=speed, flap_opening=opening)
    found, areas = evaluate(FOUND, cars), evaluate(list(AREAS), cars)
    several = np.flatnonzero(found["stable_attitudes"] > 1)[:12]
    assert several.size == 12
    gaps = gap_of(cars, found)
    for index in several:
        assert gaps[index] == pytest.approx(_settled(OneCar(cars, index, areas), speed, 1.2), rel=1e-3)


STOPS = {"bump": (0.006, 0.008), "droop": (0.003, 0.004)}


ON_STOPS = {
    f"{axle}_{kind}_travel": STOPS[kind][place]
    for kind in STOPS
    for place, axle in enumerate(("front", "rear"))
}


def _settled_on_stops(one: OneCar) -> np.ndarray:
    """Travels of a massless car on dampers and stops whose speed has risen from rest to 55 m/s."""
    transfer = one.of["load_transfer"] * np.array([-1.0, 1.0])

    def rates(time: float, travels: np.ndarray) -> np.ndarray:
        gap = one.car["splitter_gap_at_rest"] - travels[0] - one.place * (travels[1] - travels[0])
        matrix, loads = one.system(float(gain(gap, one.car)) - 1, 0.6 * min(time, 55.0) ** 2)
        past = np.maximum(travels - STOPS["bump"], 0) - np.maximum(-travels - STOPS["droop"], 0)
        return np.asarray((loads + transfer - matrix @ travels - 1e5 * past) / 20.0)

    start = transfer / [one.of["front_axle_rate"], one.of["rear_axle_rate"]]
    run = solve_ivp(rates, (0, 57.0), start, method="LSODA", rtol=1e-8, atol=1e-11, max_step=0.2)
    return np.asarray(run.y[:, -1])


@pytest.mark.parametrize("opening", [0.0, 1.0])
def test_a_braking_car_on_its_stops_takes_the_balance_it_comes_to(opening: float) -> None:
    """Independent solver: solve_ivp on a massless car on dampers and stops, its speed rising from rest."""
    changes = {"speed": 55.0, "flap_opening": opening, "longitudinal_acceleration": -8.0, **ON_STOPS}
    cars = gapped_cars(600, seed=12, **changes)
    found, areas = evaluate(FOUND, cars), evaluate([*AREAS, "load_transfer"], cars)
    several = np.flatnonzero(found["stable_attitudes"] > 1)[:6]
    assert several.size == 6
    for index in several:
        ours = [found["front_compression"][index], found["rear_compression"][index]]
        np.testing.assert_allclose(ours, _settled_on_stops(OneCar(cars, index, areas)), atol=2e-6)


def test_of_two_balances_about_the_gap_at_which_a_stop_is_met_it_comes_to_the_first() -> None:
    """Independent solver: solve_ivp, as above, for two cars whose wider balance is easily overlooked."""
    cars = gapped_cars(1000, seed=12, speed=55.0, flap_opening=1.0, **ON_STOPS)
    found, areas = evaluate(FOUND, cars), evaluate([*AREAS, "load_transfer"], cars)
    for index in (90, 197):
        ours = [found["front_compression"][index], found["rear_compression"][index]]
        np.testing.assert_allclose(ours, _settled_on_stops(OneCar(cars, index, areas)), atol=2e-6)


@pytest.mark.parametrize("opening", [0.0, 1.0])
@pytest.mark.parametrize("stops", [{}, ON_STOPS])
def test_balances_on_several_supports_are_counted(opening: float, stops: dict[str, float]) -> None:
    """Independent solver: numpy.where halves to the lean that balances moments at each of 2 000 gaps.

    Changes of the sign of the vertical forces along them, of cars on points, and on stops too.
    """
    points = {"edge": (-0.12, 0.009), "sill": (0.385, 0.022)}
    cars = gapped_cars(60, seed=12, speed=55.0, flap_opening=opening, contact_friction=0.3, **stops)
    for name, (station, clearance) in points.items():
        cars |= {f"{name}_station": station, f"{name}_clearance_at_rest": clearance}
    models = {"contact": "points"}, {"point": tuple(points)}
    of = evaluate([*AREAS, "load_transfer"], cars, *models)
    place = cars["splitter_station"] / BASE
    gaps = np.repeat(np.linspace(-0.003, 0.03, 2000)[:, np.newaxis], 60, axis=1)
    gaps = np.sort([*gaps, cars["splitter_critical_gap"]], axis=0)
    more = gain(gaps, cars) - 1

    def spare(lean: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Load on each axle that nothing carries at the gaps."""
        front = cars["splitter_gap_at_rest"] - gaps - place * lean
        pitch = cars["static_pitch"] + lean / BASE
        split = more * (of["splitter_downforce_area"] - of["splitter_downforce_area_loss"] * pitch)
        loads = []
        for axle, share, travel, sign in (("front", 1 - place, front, -1), ("rear", place, front + lean, 1)):
            area = of[f"{axle}_downforce_area"] - of[f"{axle}_downforce_area_loss"] * pitch
            load = of["dynamic_pressure"] * (area + share * split) + sign * of["load_transfer"]
            if stops:
                bump, droop = (cars[f"{axle}_{kind}_travel"] for kind in ("bump", "droop"))
                load = load - 1e5 * (np.maximum(travel - bump, 0) - np.maximum(-travel - droop, 0))
            loads.append(load - of[f"{axle}_axle_rate"] * travel)
        for station, clearance in points.values():
            push = 1e5 * np.maximum(front + lean * station / BASE - clearance, 0)
            loads = [loads[0] - push * (1 - station / BASE), loads[1] - push * station / BASE]
        return loads[0], loads[1]

    low, high = np.full(more.shape, -0.1), np.full(more.shape, 0.1)
    for _ in range(36):
        middle = (low + high) / 2
        front, rear = spare(middle)
        goes_on = (1 - place) * rear - place * front > 0
        low, high = np.where(goes_on, middle, low), np.where(goes_on, high, middle)
    left = np.add(*spare(low))
    counted = np.sum((left[:-1] <= 0) & (left[1:] > 0), axis=0)
    assert np.mean(counted > 1) > 0.04
    np.testing.assert_array_equal(evaluate(FOUND, cars, *models)["stable_attitudes"], counted)


@checks("equilibrium.stable_attitudes", "splitter_ground_force")
def test_three_balances_of_one_car() -> None:
    """Independent solver: brentq between places where the sign changes; two of the three are stable.

    The widest is the one a car comes to from rest: its nose has risen and the gap with it.
    """
    ground = {"splitter_ground_gain": 1.5, "splitter_gap_at_rest": 0.009, "splitter_critical_gap": 0.003}
    car = {**SPRINT_CAR, **ground, "speed": 55.0, "flap_opening": 0.0, "air_density": 1.2156}
    one = OneCar(car, 0, evaluate(list(AREAS), car))
    forces = []
    for low, high in ((0.0005, 0.003), (0.003, 0.01), (0.01, 0.05)):
        more = float(gain(brentq(one.off, low, high, xtol=1e-15), one.car)) - 1
        front, rear = np.linalg.solve(*one.system(more, one.of["dynamic_pressure"]))
        pitch = SPRINT_CAR["static_pitch"] + (rear - front) / BASE
        forces.append(one.of["dynamic_pressure"] * 0.02 * (0.55 - 2.6 * pitch) * more)
    assert forces == pytest.approx([54.2, 46.7, -8.9], abs=0.05)
    found = evaluate(["splitter_ground_force", "stable_attitudes"], car)
    assert found["splitter_ground_force"] == pytest.approx(forces[2], rel=1e-9)
    assert found["stable_attitudes"] == 2


def test_a_gap_at_or_below_zero_is_contact() -> None:
    """Independent solver: numpy.linalg.solve; a splitter pressed to the road has lost all its downforce."""
    car = {
        **SPRINT_CAR,
        "splitter_ground_gain": 0.8,
        "splitter_gap_at_rest": 0.004,
        "splitter_critical_gap": 0.002,
        "floor_station": -0.085,
        "floor_downforce_coefficient": 1.2,
        "floor_pitch_slope": 0.0,
        "splitter_pitch_slope": 0.0,
        "wing_pitch_slope": 0.0,
        "speed": 60.0,
        "flap_opening": 1.0,
    }
    found = evaluate([*FOUND, "splitter_ground_force"], car)
    areas = evaluate(list(AREAS), car)
    assert float(gap_of(car, found)) <= 0
    pressure, place = areas["dynamic_pressure"], -0.085 / BASE
    splitter = pressure * areas["splitter_downforce_area"]
    assert found["splitter_ground_force"] == pytest.approx(-splitter, rel=1e-12)
    level = pressure * np.array([areas["front_downforce_area"], areas["rear_downforce_area"]])
    front, rear = np.linalg.solve(np.diag([6000.0, 5200.0]), level - splitter * np.array([1 - place, place]))
    assert found["front_compression"] == pytest.approx(front, rel=1e-9)
    assert found["rear_compression"] == pytest.approx(rear, rel=1e-9)


def test_every_car_has_a_top_speed() -> None:
    """Independent solver: brentq on drive less resistance, both on the balance that is found at a speed."""
    cars = gapped_cars(CARS, flap_opening=1.0)
    found = evaluate(["top_speed"], cars)["top_speed"]
    assert np.all(np.isfinite(found))
    for index in range(0, CARS, CARS // 8):
        one = {name: v[index] if np.ndim(v) else v for name, v in cars.items()}

        def spare(speed: float, car: dict[str, Any] = one) -> float:
            return float(evaluate(["excess_force"], {**car, "speed": speed})["excess_force"])

        top = found[index]
        assert brentq(spare, 0.97 * top, 1.03 * top, rtol=1e-12) == pytest.approx(top, rel=1e-8)


@checks("divergence_speed", "splitter_from_rest")
def test_divergence_is_where_the_splitter_snaps_down() -> None:
    """Independent solver: brentq on the speed at which no gap wider than the stall balances any more."""
    cars = gapped_cars(12, seed=5, speed=1.0, flap_opening=1.0, splitter_ground_gain=1.2)
    found = evaluate(["divergence_speed", "speed_cap", "splitter_from_rest"], cars)
    areas = evaluate(list(AREAS), cars)
    snapping = np.flatnonzero(found["divergence_speed"] < 0.9 * found["speed_cap"])
    assert snapping.size > 5
    for index in snapping:
        one, speed = OneCar(cars, index, areas), found["divergence_speed"][index]

        def most(speed: float, car: OneCar = one) -> float:
            gaps = np.linspace(car.car["splitter_critical_gap"], car.car["splitter_gap_at_rest"], 40)
            for _ in range(2):
                best = max(gaps, key=lambda gap: car.off(gap, 0.6 * speed**2))
                width = gaps[1] - gaps[0]
                gaps = np.linspace(best - width, best + width, 40)
            return max(car.off(gap, 0.6 * speed**2) for gap in gaps)

        snaps = brentq(most, 0.95 * speed, 1.05 * speed, rtol=1e-7)
        assert speed == pytest.approx(snaps, rel=1e-4)
        assert found["splitter_from_rest"].snaps[index] == pytest.approx(0.6 * snaps**2, rel=2e-4)


@checks("snap_margin", "splitter_over_road")
def test_downforce_lacking_for_a_snap() -> None:
    """Independent solver: numpy.linalg.solve for the force at the splitter that each gap needs."""
    car = {name: float(np.ravel(v)[0]) for name, v in gapped_cars(1, seed=5, speed=30.0).items()}
    car["splitter_ground_gain"] = 1.2
    one = OneCar(car, 0, evaluate(list(AREAS), car))
    pressure, place = one.of["dynamic_pressure"], one.place
    matrix, loads = one.system(0.0, pressure)
    # Both travels and the force at the splitter, from both balances and the gap.
    whole = np.block([[matrix, -np.array([[1 - place], [place]])], [np.array([1 - place, place, 0.0])]])
    lacks = []
    for gap in np.geomspace(car["splitter_critical_gap"], car["splitter_gap_at_rest"], 4001):
        front, rear, force = np.linalg.solve(whole, [*loads, car["splitter_gap_at_rest"] - gap])
        pitch = car["static_pitch"] + (rear - front) / BASE
        area = one.of["splitter_downforce_area"] - one.of["splitter_downforce_area_loss"] * pitch
        lacks.append(force - pressure * area * (float(gain(gap, car)) - 1))
    assert max(lacks[1:-1]) > max(lacks[0], lacks[-1])
    assert evaluate(["snap_margin"], car)["snap_margin"] == pytest.approx(max(lacks), rel=1e-5)


def test_ride_decays_by_the_slopes_of_the_gap() -> None:
    """Independent solver: numpy.linalg.eigvals.

    The loads' slopes by differences of the balance's residual.
    """
    car = {**gapped_cars(1, seed=9, speed=40.0, flap_opening=1.0)}
    car = {name: float(np.ravel(v)[0]) for name, v in car.items()}
    found = evaluate([*FOUND, "ride_decay_rate", "half_car"], car)
    one = OneCar(car, 0, evaluate(list(AREAS), car))

    def lacking(travels: np.ndarray) -> np.ndarray:
        front, rear = travels
        gap = one.car["splitter_gap_at_rest"] - front - one.place * (rear - front)
        matrix, loads = one.system(float(gain(gap, one.car)) - 1, one.of["dynamic_pressure"])
        spare: np.ndarray = loads - matrix @ travels
        return spare

    at = np.array([found["front_compression"], found["rear_compression"]])
    steps = 1e-7 * np.eye(2)
    slopes = np.column_stack([(lacking(at + step) - lacking(at - step)) / 2e-7 for step in steps])
    half = found["half_car"]
    mobility = np.array([[half.own[0], half.across[0]], [half.across[1], half.own[1]]], dtype=float)
    mobility = mobility.reshape(2, 2)
    damping = np.diag(np.ravel(half.damping))
    motion = np.block([[np.zeros((2, 2)), np.eye(2)], [mobility @ slopes, -mobility @ damping]])
    expected = -np.max(np.linalg.eigvals(motion).real)
    assert float(np.ravel(found["ride_decay_rate"])[0]) == pytest.approx(expected, rel=1e-5)


def test_gust_and_blow_over_count_the_gap() -> None:
    """Independent solver: brentq on the rise, with statics about the rear contact."""
    car = {**gapped_cars(1, seed=9, speed=45.0, flap_opening=1.0), "gust": 4.0}
    car = {name: float(np.ravel(v)[0]) for name, v in car.items()}
    names = ["front_static_load", "front_downforce", "overturning_rate", "blow_over_rise", "gust_front_load"]
    found = {name: float(np.ravel(v)[0]) for name, v in evaluate([*FOUND, *names], car).items()}
    pressure = 0.6 * 49.0**2
    load = found["front_static_load"] + (49.0 / 45.0) ** 2 * found["front_downforce"]
    assert found["gust_front_load"] == pytest.approx(load, rel=1e-9)
    gap, ahead = float(gap_of(car, found)), BASE - car["splitter_station"]

    def by_gap(rise: float) -> float:
        lift = ahead * np.sin(rise)
        coefficient = car["splitter_downforce_coefficient"]
        coefficient -= car["splitter_pitch_slope"] * (found["pitch"] + np.sin(rise))
        return float(pressure * 0.02 * coefficient * (gain(gap + lift, car) - 1) * ahead)

    def moment(rise: float) -> float:
        others = (BASE * load - by_gap(0.0)) * np.cos(rise)
        return float(others + by_gap(rise) - found["overturning_rate"] * np.sin(rise))

    assert found["blow_over_rise"] == pytest.approx(brentq(moment, 0.0, 1.5, xtol=1e-13), rel=1e-8)


class OnMap:
    """Balance of one car on a map by scipy's interpolation and brentq, one axle inside the other."""

    def __init__(self, table: LookupTable, cars: dict[str, Any], index: int) -> None:
        self.car = {name: float(v[index]) for name, v in cars.items() if np.ndim(v)}
        axes = tuple(table.axes.values())
        self.front, self.rear = (
            RegularGridInterpolator(axes, table.values[name])
            for name in ("front_downforce_area", "rear_downforce_area")
        )
        self.heights = axes
        self.pressure = 0.6 * cars["speed"] ** 2

    def at_rear(self, front: float, rear: float) -> float:
        """Load that nothing carries at the rear."""
        spring = 2 * self.car["rear_wheel_rate"] * (0.025 - rear)
        return float(self.pressure * self.rear((front, rear)) - spring)

    def at_front(self, front: float) -> float:
        """Load that nothing carries at the front, the rear balanced; NaN where it leaves the map."""
        low, high = self.heights[1][[0, -1]]
        if self.at_rear(front, low) > 0 or self.at_rear(front, high) < 0:
            return np.nan
        rear = brentq(lambda tried: self.at_rear(front, tried), low, high, xtol=1e-15)
        rest = self.car["front_ride_height_at_rest"]
        return float(
            self.pressure * self.front((front, rear)) - 2 * self.car["front_wheel_rate"] * (rest - front)
        )

    def stable(self) -> list[float]:
        """Every stable front ride height."""
        places = np.linspace(*self.heights[0][[0, -1]], 400)
        values = [self.at_front(place) for place in places]
        return [
            brentq(self.at_front, low, high, xtol=1e-15)
            for (low, a), (high, b) in pairwise(zip(places, values, strict=True))
            if a <= 0 < b
        ]


@pytest.mark.long
@pytest.mark.parametrize("opening", [0.0, 1.0])
def test_every_car_on_a_map_is_answered(opening: float) -> None:
    """Independent solver: brentq within brentq on scipy's bilinear interpolation of the same map."""
    table, stream = gapped_map(opening), np.random.default_rng(4)
    cars = {
        **scattered_cars(CARS),
        **HEIGHTS,
        "front_ride_height_at_rest": stream.normal(0.012, 0.0008, CARS),
        "aero_map_closed": table,
        "aero_map_open": table,
        "speed": 45.0,
    }
    found = evaluate(FOUND, cars, {"aero": "map"})
    answered = np.isfinite(found["pitch"])
    heights = cars["front_ride_height_at_rest"] - found["front_compression"]
    for index in np.flatnonzero(answered)[:: CARS // 200]:
        one = OnMap(table, cars, index)
        assert abs(one.at_front(heights[index])) < 1e-6
        assert one.at_front(heights[index] - 1e-7) < 0 < one.at_front(heights[index] + 1e-7)
    assert np.all(found["stable_attitudes"][~answered] == 0)
    for index in np.flatnonzero(~answered):
        assert OnMap(table, cars, index).stable() == []
    assert answered.mean() > 0.9
