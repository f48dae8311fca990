"""The half-car's motion in time written down another way, for scipy: heave and pitch, event by event.

Heave of the centre of gravity and pitch about it, every part of the air forces on its own, wheels that leave
the road and come back at events found by scipy.  Loads are total, in newtons; positive heave is down.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from itertools import pairwise
from typing import Any

import numpy as np
from scipy.integrate import solve_ivp

from explorer.model.ride.following import advanced, begun
from explorer.model.ride.ride import Ride
from explorer.model.ride.stepping import Moment

GRAVITY = 9.80665
PARTS = ("wing", "splitter", "floor")


@dataclass
class Reference:
    """One car on one road in one gust; ``given`` holds plain numbers under the names of the models."""

    given: dict[str, Any]
    times: list[float] = field(default_factory=list)
    states: list[np.ndarray] = field(default_factory=list)
    loads: list[np.ndarray] = field(default_factory=list)
    off: list[tuple[bool, bool]] = field(default_factory=list)

    def __post_init__(self) -> None:
        g = {
            "bump_height": 0.0,
            "bump_length": 1.0,
            "gust": 0.0,
            "gust_lead": 0.1,
            "gust_rise_time": 0.1,
            "gust_hold_time": 0.0,
            "watch_time": 0.5,
            "front_damping_ratio": 0.3,
            "rear_damping_ratio": 0.3,
            "pitch_gyration_share": 0.45,
            "front_stop_rate": 5e4,
            "rear_stop_rate": 5e4,
            "body_drag_height": 0.05,
            "air_follows_road": 0.0,
            **self.given,
        }
        self.given = g
        self.a, self.base = g["cg_station"], g["wheelbase"]
        self.b = self.base - self.a
        self.mass = g["mass"]
        self.inertia = g.get("pitch_inertia", self.mass * (g["pitch_gyration_share"] * self.base) ** 2)
        share = np.array([self.b, self.a]) / self.base
        self.static = self.mass * GRAVITY * share
        self.rate = 2 * np.array([g["front_wheel_rate"], g["rear_wheel_rate"]])
        ratio = np.array([g["front_damping_ratio"], g["rear_damping_ratio"]])
        self.damping = 2 * ratio * np.sqrt(self.rate * self.mass * share)
        self.bump = np.array([g.get(f"{end}_bump_travel", np.inf) for end in ("front", "rear")])
        self.droop = np.array([g.get(f"{end}_droop_travel", np.inf) for end in ("front", "rear")])
        self.stop = 2 * np.array([g["front_stop_rate"], g["rear_stop_rate"]])

    def road(self, time: float, station: float = 0.0) -> tuple[float, float]:
        """Height of the road and its rise at a station, by the time since the front met the bump."""
        g = self.given
        place = time * g["speed"] - station
        if not 0 <= place <= g["bump_length"]:
            return 0.0, 0.0
        turn = 2 * np.pi / g["bump_length"]
        height = g["bump_height"] / 2
        return height * (1 - np.cos(turn * place)), height * turn * g["speed"] * np.sin(turn * place)

    def airspeed(self, time: float) -> float:
        """Airspeed, the gust included."""
        g = self.given
        since = time + g["gust_lead"]
        rise, hold = g["gust_rise_time"], g["gust_hold_time"]
        if since <= 0 or since >= 2 * rise + hold:
            strength = 0.0
        elif since < rise:
            strength = (1 - np.cos(np.pi * since / rise)) / 2
        elif since <= rise + hold:
            strength = 1.0
        else:
            strength = (1 - np.cos(np.pi * (2 * rise + hold - since) / rise)) / 2
        return g["speed"] + g.get("headwind", 0.0) + g["gust"] * strength

    def air(self, time: float, pitch: float) -> tuple[float, float]:
        """Downforce and its nose-up moment about the front contact line, the drag's lever included."""
        g = self.given
        pressure = g["air_density"] / 2 * self.airspeed(time) ** 2
        down = moment = 0.0
        for part in PARTS:
            name = "wing_downforce_coefficient_closed" if part == "wing" else f"{part}_downforce_coefficient"
            force = pressure * g[f"{part}_area"] * (g[name] - g[f"{part}_pitch_slope"] * pitch)
            down += force
            moment += force * g[f"{part}_station"]
        drag = g["wing_area"] * g["wing_drag_coefficient_closed"] * g["wing_height"]
        return down, moment + pressure * (drag + g["body_drag_area"] * g["body_drag_height"])

    def wheels(self, time: float, state: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Travel of both axles and its rate, from heave and pitch of the body and from the road."""
        heave, turn, heave_speed, turn_speed = state
        (front, front_rise), (rear, rear_rise) = self.road(time), self.road(time, self.base)
        travel = np.array([heave - self.a * turn + front, heave + self.b * turn + rear])
        speed = np.array(
            [heave_speed - self.a * turn_speed + front_rise, heave_speed + self.b * turn_speed + rear_rise]
        )
        return travel, speed

    def spring(self, travel: np.ndarray) -> np.ndarray:
        """Load of springs and stops at a travel of both axles."""
        past = np.maximum(travel - self.bump, 0) + np.minimum(travel + self.droop, 0)
        return self.static + self.rate * travel + self.stop * past

    def pull(self, time: float, state: np.ndarray) -> np.ndarray:
        """Load on both axles as if the ground could pull."""
        travel, speed = self.wheels(time, state)
        return self.spring(travel) + self.damping * speed

    def hang(self, since: float, travel: np.ndarray) -> np.ndarray:
        """Travel of wheels that left the road at a travel, some time ago."""
        relaxed = -self.static / self.rate
        end = np.array(
            [
                free if free >= -droop else -(static + stop * droop) / (rate + stop)
                for free, droop, static, stop, rate in zip(
                    relaxed, self.droop, self.static, self.stop, self.rate, strict=True
                )
            ]
        )
        return np.maximum(end, relaxed + (travel - relaxed) * np.exp(-self.rate / self.damping * since))

    def slope(self, time: float, state: np.ndarray, off: tuple[bool, bool]) -> np.ndarray:
        """Rate of change of heave, pitch and their rates, with some wheels off the road."""
        ground = np.where(off, 0.0, self.pull(time, state))
        pitch = self.given["static_pitch"] + state[1]
        if follows := self.given["air_follows_road"]:
            pitch -= follows * (self.road(time)[0] - self.road(time, self.base)[0]) / self.base
        down, moment = self.air(time, pitch)
        heave = (self.mass * GRAVITY + down - ground.sum()) / self.mass
        # Moments about the centre of gravity: those of the air about the front contact, moved back.
        turn = moment - down * self.a + ground[0] * self.a - ground[1] * self.b
        return np.array([state[2], state[3], heave, turn / self.inertia])

    def steady(self) -> np.ndarray:
        """Heave and pitch at which everything balances, from the equations of motion themselves."""
        from scipy.optimize import root

        early = -1e3

        def rest(place: np.ndarray) -> np.ndarray:
            return self.slope(early, np.array([*place, 0.0, 0.0]), (False, False))[2:]

        found = root(rest, [0.0, 0.0], tol=1e-13)
        assert np.abs(rest(found.x)).max() < 1e-8
        return np.array([*found.x, 0.0, 0.0])

    def run(self, *, step: float = 2e-4) -> Reference:
        """Integrate from before everything to the end of the watch, keeping a fine grid of states."""
        g = self.given
        bumpy, gusty = g["bump_height"] != 0, g["gust"] != 0
        delay, length = self.base / g["speed"], g["bump_length"] / g["speed"]
        marks = [0.0, length, delay, delay + length] if bumpy else []
        begins = -g["gust_lead"]
        rise, hold = g["gust_rise_time"], g["gust_hold_time"]
        marks += [begins, begins + rise, begins + rise + hold, begins + 2 * rise + hold] if gusty else []
        marks = sorted(set(marks)) or [0.0]
        marks.append(marks[-1] + g["watch_time"])
        state = self.steady()
        # Wheels that the steady balance would have to pull down are off the road from the first moment.
        off = [bool(load < 0) for load in self.pull(marks[0], state)]
        left = [(marks[0], float(travel)) for travel in self.wheels(marks[0], state)[0]]
        for start, end in pairwise(marks):
            time = start
            while time < end:
                time, state = self._leg(time, end, state, off, left, step)
        return self

    def _leg(
        self,
        time: float,
        end: float,
        state: np.ndarray,
        off: list[bool],
        left: list[tuple[float, float]],
        step: float,
    ) -> tuple[float, np.ndarray]:
        """Go on until a wheel leaves or meets the road; note it in ``off`` and ``left``."""

        def leaves(axle: int):
            def event(t: float, y: np.ndarray) -> float:
                if off[axle]:
                    when, travel = left[axle]
                    return float(self.wheels(t, y)[0][axle] - self.hang(t - when, np.full(2, travel))[axle])
                return float(-self.pull(t, y)[axle])

            event.terminal, event.direction = True, 1
            return event

        now = (off[0], off[1])
        found = solve_ivp(
            lambda t, y: self.slope(t, y, now),
            (time, end),
            state,
            rtol=1e-10,
            atol=1e-13,
            max_step=5e-4,
            events=[leaves(0), leaves(1)],
            dense_output=True,
        )
        stop = found.t[-1]
        for t in np.linspace(time, stop, max(2, int((stop - time) / step) + 2)):
            self.times.append(float(t))
            self.states.append(found.sol(t))
            self.loads.append(self.pull(t, found.sol(t)))
            self.off.append(now)
        state = found.y[:, -1]
        for axle in (0, 1):
            if len(found.t_events[axle]):
                off[axle] = not off[axle]
                left[axle] = (stop, float(self.wheels(stop, state)[0][axle]))
        return stop, state

    @property
    def peak_pitch(self) -> float:
        """Highest pitch of the run."""
        return self.given["static_pitch"] + max(state[1] for state in self.states)

    @property
    def front_time_off_road(self) -> float:
        """How long the front wheels were off the road."""
        return float(np.sum(np.diff(self.times) * np.array([front for front, _ in self.off[:-1]])))

    def lowest_load(self, axle: int) -> float:
        """Lowest load on an axle, as if the ground could pull."""
        return float(min(load[axle] for load in self.loads))

    def smallest_clearance(self, station: float, at_rest: float) -> float:
        """Smallest height of a point under the body above the road."""
        return min(
            at_rest - (state[0] + (station - self.a) * state[1]) - self.road(time, station)[0]
            for time, state in zip(self.times, self.states, strict=True)
        )


def moments(ride: Ride) -> Iterator[Moment]:
    """Take the model's steps one by one, to the very end of the motion."""
    motion = begun(ride)
    met = ride.meeting(motion.time)
    while np.any(motion.left > 0):
        motion, met, moment = advanced(ride, motion, met)
        yield moment
