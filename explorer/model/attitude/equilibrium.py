"""The attitude at which springs and air forces balance, for air forces that are straight lines in pitch.

With the pitch as the one unknown, both axle loads are straight lines in it:

    front travel  = front_level_compression - front_compression_loss * pitch        (same at the rear)
    pitch         = static_pitch + (rear travel - front travel) / wheelbase

which is one linear equation; its denominator is the determinant of the two-equation heave-pitch system over
the product of the rates and the wheelbase.  Stops bend the lines (``supports``), and the splitter's gap
changes its downforce (``near_ground``): cars that meet either are solved apart.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Annotated, NamedTuple

import numpy as np

from explorer.graph.arrays import Array, Mask, anywhere, everywhere, picked
from explorer.graph.quantity import Curve, Part, quantity
from explorer.model.aero.ground_effect import GroundEffect
from explorer.model.attitude import near_ground
from explorer.model.attitude.gap_line import NearGround
from explorer.model.attitude.gap_spare import SprungCar
from explorer.model.attitude.gap_way import Way
from explorer.model.attitude.supports import (
    Balance,
    Car,
    FrontContactLoad,
    RearContactLoad,
    Support,
)
from explorer.model.attitude.suspension import AxleSpring
from explorer.model.numeric import first_fall, shape_of


@quantity("m", source="statics: load over rate")
def front_level_compression(
    dynamic_pressure: Array, front_downforce_area: Array, load_transfer: Array, front_axle_rate: Array
) -> Array:
    """How far the front would go down from rest if the car stayed at zero pitch, stops out of reach."""
    return (dynamic_pressure * front_downforce_area - load_transfer) / front_axle_rate


@quantity("m", source="statics: load over rate")
def rear_level_compression(
    dynamic_pressure: Array, rear_downforce_area: Array, load_transfer: Array, rear_axle_rate: Array
) -> Array:
    """How far the rear would go down from rest if the car stayed at zero pitch, stops out of reach."""
    return (dynamic_pressure * rear_downforce_area + load_transfer) / rear_axle_rate


@quantity("m/rad", source="statics: load over rate")
def front_compression_loss(
    dynamic_pressure: Array, front_downforce_area_loss: Array, front_axle_rate: Array
) -> Array:
    """How far the front comes up per radian of nose-up pitch, through the air forces alone."""
    return dynamic_pressure * front_downforce_area_loss / front_axle_rate


@quantity("m/rad", source="statics: load over rate")
def rear_compression_loss(
    dynamic_pressure: Array, rear_downforce_area_loss: Array, rear_axle_rate: Array
) -> Array:
    """How far the rear comes up per radian of nose-up pitch, through the air forces alone."""
    return dynamic_pressure * rear_downforce_area_loss / rear_axle_rate


class OnOneSupport(NamedTuple):
    """Pitch, loads that a point takes off both axles, and where that is the whole answer.

    It is where the springs hold the car, it meets one support or none, and the push makes it meet no other.
    """

    pitch: Array
    front_contact: Array
    rear_contact: Array
    settled: Mask


class CarAtSpeed(NamedTuple):
    """Springs and loads at one speed, the splitter's gap without effect; compressions at zero pitch."""

    static_pitch: Array
    wheelbase: Array
    front_level: Array
    rear_level: Array
    front_loss: Array
    rear_loss: Array
    front_spring: AxleSpring
    rear_spring: AxleSpring
    load_transfer: Array
    points: tuple[Support, ...]

    @property
    def stops(self) -> tuple[Support, ...]:
        """Stops of both axles within reach."""
        return (*self.front_spring.stops(0.0), *self.rear_spring.stops(1.0))

    def on_springs(self) -> tuple[Array, Array]:
        """Return the pitch with no support met, and what holds it: at zero or below the pitch diverges."""
        hold = 1 + (self.rear_loss - self.front_loss) / self.wheelbase
        return (self.static_pitch + (self.rear_level - self.front_level) / self.wheelbase) / hold, hold

    def on_one_support(self, angle: Array, hold: Array) -> OnOneSupport:
        """Let each sample down on the one support it meets, which gives way as far as the springs do."""
        stops, settled = self.stops, np.asarray(hold > 0)
        supports = (*stops, *self.points)
        if not supports:
            return OnOneSupport(angle, np.zeros(()), np.zeros(()), settled)
        front = self.front_level - self.front_loss * angle
        lean = self.wheelbase * (angle - self.static_pitch)
        past = [support.past(front, lean) for support in supports]
        met = {index: one > 0 for index, one in enumerate(past) if not np.max(one) <= 0}
        front_contact = rear_contact = np.zeros(())
        taken = np.zeros((), bool)
        for index, here in met.items():
            share, side, _, rate = supports[index]
            front_give = (1 - share) / self.front_spring.rate
            leaning = (share / self.rear_spring.rate - front_give) / hold
            front_give = front_give - self.front_loss / self.wheelbase * leaning
            give = 1 / rate + front_give + share * leaning
            push = side * np.maximum(past[index], 0) / give
            angle = angle - push * leaning / self.wheelbase
            if index >= len(stops):
                behind = push * share
                front_contact, rear_contact = front_contact + push - behind, rear_contact + behind
            settled = settled & ~(here & (taken | (give <= 0)))
            if len(supports) > 1:
                front, lean, taken = front - push * front_give, lean - push * leaning, taken | here
        for index, support in enumerate(supports if met else ()):
            # Where no other gives way, a support that a sample does not meet stays where it is.
            if index not in met or len(met) > 1:
                settled = settled & (met.get(index, False) | (support.past(front, lean) <= 0))
        return OnOneSupport(angle, front_contact, rear_contact, settled)

    def over_lean(self) -> Car:
        """Return the same car as loads over both travels."""
        return Car(
            self.front_spring.rate * (self.front_level - self.front_loss * self.static_pitch),
            self.rear_spring.rate * (self.rear_level - self.rear_loss * self.static_pitch),
            self.front_spring.rate,
            self.rear_spring.rate,
            self.front_spring.rate * self.front_loss / self.wheelbase,
            self.rear_spring.rate * self.rear_loss / self.wheelbase,
            self.load_transfer,
            self.stops,
            self.points,
        )


@quantity("1", source="definition")
def car_at_speed(
    static_pitch: Array,
    wheelbase: Array,
    front_level_compression: Array,
    rear_level_compression: Array,
    front_compression_loss: Array,
    rear_compression_loss: Array,
    front_axle_spring: AxleSpring,
    rear_axle_spring: AxleSpring,
    load_transfer: Array,
    points_under_car: tuple[Support, ...],
) -> CarAtSpeed:
    """Springs and loads at this speed, together."""
    return CarAtSpeed(
        static_pitch,
        wheelbase,
        front_level_compression,
        rear_level_compression,
        front_compression_loss,
        rear_compression_loss,
        front_axle_spring,
        rear_axle_spring,
        load_transfer,
        points_under_car,
    )


@quantity("1", source="definition")
def loads_bend(splitter_ground_gain: Array, points_at_rest: tuple[Support, ...]) -> Array:
    """1 where axle loads bend with speed and acceleration: ground near the splitter, points that carry."""
    bends = np.where(splitter_ground_gain > 0, 1.0, 0.0)
    for point in points_at_rest:
        bends = np.where(point.rate > 0, 1.0, bends)
    return bends


@quantity(
    "1",
    source="load line of the springs against the downforce over the gap, followed from rest up",
    varying={"load_transfer": "longitudinal_acceleration"},
)
def splitter_from_rest(
    splitter_over_road: GroundEffect,
    front_downforce_area: Array,
    rear_downforce_area: Array,
    front_downforce_area_loss: Array,
    rear_downforce_area_loss: Array,
    static_pitch: Array,
    wheelbase: Array,
    load_transfer: Curve,
    front_axle_spring: AxleSpring,
    rear_axle_spring: AxleSpring,
    points_at_rest: tuple[Support, ...],
) -> Way:
    """Way of a splitter near the ground, from rest up, in a car at a steady speed."""
    front_loss, rear_loss = front_downforce_area_loss / wheelbase, rear_downforce_area_loss / wheelbase
    if not anywhere(splitter_over_road.gain > 0):
        return Way.unknown(splitter_over_road)
    body = SprungCar.of(
        splitter_over_road,
        (
            front_downforce_area - front_downforce_area_loss * static_pitch,
            rear_downforce_area - rear_downforce_area_loss * static_pitch,
        ),
        (front_loss, rear_loss),
        (front_axle_spring.rate, rear_axle_spring.rate),
        load_transfer(0.0),
    )
    supports = (*front_axle_spring.stops(0.0), *rear_axle_spring.stops(1.0), *points_at_rest)
    return Way.of(body, supports).standing_up(supports)


_NO_BALANCE = "pitch has diverged: no attitude at which the springs hold the air forces"


class Attitude(NamedTuple):
    """The attitude of the car, from one balance."""

    pitch: Annotated[
        Array,
        Part(
            "rad",
            """Steady pitch of the car at this speed, nose-up positive, its pitch at rest included.

            Past the divergence speed there is none, unless a stop or a point on the road holds the car.
            """,
        ),
    ]
    splitter_ground_force: Annotated[
        Array,
        Part(
            "N",
            """Downforce the splitter gains by being closer to the ground than its reference gap.

            Farther off it is negative.  More downforce closes the gap, which changes the downforce: both are
            balanced.
            """,
        ),
    ]
    front_contact_load: FrontContactLoad
    rear_contact_load: RearContactLoad


@quantity(
    "1",
    source="balance of heave and pitch on springs and stops; zeros in the splitter's gap bracketed and "
    "closed in on by Chandrupatla's method (Advances in Engineering Software 28, 1997)",
    fails=_NO_BALANCE,
)
def attitude(
    car_at_speed: CarAtSpeed,
    splitter_ground_effect: GroundEffect,
    splitter_from_rest: Way,
    dynamic_pressure: Array,
) -> Attitude:
    """Pitch, and what the splitter gains by its gap, together."""
    car, splitter, way = car_at_speed, splitter_ground_effect, splitter_from_rest
    if everywhere(splitter.gain > 0):
        found = _solved(car, splitter, way, dynamic_pressure, np.zeros((), bool))
        return Attitude(car.static_pitch + found.lean / car.wheelbase, *found[1:])
    angle, hold = car.on_springs()
    here = car.on_one_support(angle, hold)
    simple = here.settled & (splitter.gain == 0)
    if everywhere(simple):
        return Attitude(here.pitch, np.zeros(()), here.front_contact, here.rear_contact)
    found = _solved(car, splitter, way, dynamic_pressure, simple)
    return Attitude(
        np.where(simple, here.pitch, car.static_pitch + found.lean / car.wheelbase),
        found.force,
        np.where(simple, here.front_contact, found.front_contact),
        np.where(simple, here.rear_contact, found.rear_contact),
    )


def _solved(car: CarAtSpeed, splitter: GroundEffect, way: Way, pressure: Array, simple: Mask) -> Balance:
    """Return the balance of the cars that are not simple, by whether their splitter feels the ground."""
    shape = shape_of((car, splitter, pressure, simple))
    groups = [*_groups(car, splitter, pressure, np.broadcast_to(~simple, shape or (1,)))]
    if everywhere(groups[0][0]):
        return Balance(*(np.reshape(field, shape) for field in _balance(groups[0][1], way)))
    rows = np.zeros((len(Balance._fields), *(shape or (1,))))
    for where, group in groups:
        rows[:, where] = _balance(group, picked(way, where))
    return Balance(*rows.reshape(-1, *shape))


def _balance(group: Car | NearGround, way: Way) -> Balance:
    return near_ground.balance(group, way) if isinstance(group, NearGround) else group.balance()


def _groups(
    car: CarAtSpeed, splitter: GroundEffect, pressure: Array, wanted: Mask
) -> Iterator[tuple[Mask, Car | NearGround]]:
    """Yield the cars that are wanted, on one axis, by whether their splitter feels the ground."""
    level, pressure = (np.broadcast_to(one, wanted.shape) for one in (car.front_level, pressure))
    state = car._replace(front_level=level), splitter, pressure
    for feels in (False, True):
        where = wanted & ((splitter.gain > 0) == feels)
        if anywhere(where):
            group, ground, air = state if everywhere(where) else picked(state, where)
            yield where, NearGround(group.over_lean(), ground, air) if feels else group.over_lean()


@quantity(
    "1", source="changes of sign of the load spare along the gap, and of the springs' hold", fails=_NO_BALANCE
)
def stable_attitudes(
    car_at_speed: CarAtSpeed, splitter_ground_effect: GroundEffect, dynamic_pressure: Array
) -> Array:
    """How many attitudes the car can keep at this speed.

    Of several it takes the one it comes to from rest as the speed rises, the load moved by acceleration and
    slope held; a bump may carry it to another.
    """
    shape = shape_of((car_at_speed, splitter_ground_effect, dynamic_pressure))
    found, every = np.ones(shape or (1,)), np.ones(shape or (1,), dtype=bool)
    for where, group in _groups(car_at_speed, splitter_ground_effect, dynamic_pressure, every):
        found[where] = near_ground.stable(group) if isinstance(group, NearGround) else group.stable()
    return found.reshape(shape)


@quantity("N", source="sum of the parts about the rear contact patches")
def front_downforce(
    dynamic_pressure: Array,
    front_downforce_area: Array,
    front_downforce_area_loss: Array,
    pitch: Array,
    splitter_ground_force: Array,
    splitter_station: Array,
    wheelbase: Array,
) -> Array:
    """Front axle load from the air, the drag's lever included, as a wind tunnel balance shows it."""
    force = dynamic_pressure * (front_downforce_area - front_downforce_area_loss * pitch)
    if anywhere(splitter_ground_force):
        force = force + splitter_ground_force * (1 - splitter_station / wheelbase)
    return force


@quantity("N", source="sum of the parts about the front contact patches")
def rear_downforce(
    dynamic_pressure: Array,
    rear_downforce_area: Array,
    rear_downforce_area_loss: Array,
    pitch: Array,
    splitter_ground_force: Array,
    splitter_station: Array,
    wheelbase: Array,
) -> Array:
    """Rear axle load from the air, the drag's lever included, as a wind tunnel balance shows it."""
    force = dynamic_pressure * (rear_downforce_area - rear_downforce_area_loss * pitch)
    if anywhere(splitter_ground_force):
        force = force + splitter_ground_force * splitter_station / wheelbase
    return force


@quantity("m", source="load over rate, stops beside the spring")
def front_compression(
    front_downforce: Array, load_transfer: Array, front_contact_load: Array, front_axle_spring: AxleSpring
) -> Array:
    """How far the body has gone down over the front axle from rest; up is negative."""
    return front_axle_spring.travel(front_downforce - load_transfer - front_contact_load)


@quantity("m", source="load over rate, stops beside the spring")
def rear_compression(
    rear_downforce: Array, load_transfer: Array, rear_contact_load: Array, rear_axle_spring: AxleSpring
) -> Array:
    """How far the body has gone down over the rear axle from rest; up is negative."""
    return rear_axle_spring.travel(rear_downforce + load_transfer - rear_contact_load)


@quantity("N", source="load line of the springs against the downforce over the gap, where both touch")
def snap_margin(
    car_at_speed: CarAtSpeed, splitter_ground_effect: GroundEffect, dynamic_pressure: Array
) -> Array:
    """Downforce that lacks before the splitter snaps down to the ground; stops and points out of reach.

    Far above any real one where the splitter cannot snap, because springs win over its gain at every gap.
    """
    near = NearGround(
        car_at_speed.over_lean()._replace(stops=(), points=()), splitter_ground_effect, dynamic_pressure
    )
    return near_ground.snap_margin(near)


@quantity(
    "m/s",
    source="zero of the heave-pitch determinant: static divergence (Bisplinghoff, Aeroelasticity, ch. 8); "
    "with the gain of the splitter's gap root of snap_margin over speed",
    varying={"snap_margin": "speed"},
    capped_by="speed_cap",
)
def divergence_speed(
    snap_margin: Curve,
    splitter_ground_gain: Array,
    front_downforce_area_loss: Array,
    rear_downforce_area_loss: Array,
    front_axle_rate: Array,
    rear_axle_rate: Array,
    wheelbase: Array,
    air_density: Array,
    headwind: Array,
    speed_cap: Array,
) -> Array:
    """Speed at which the air forces grow with pitch or gap as fast as the springs push back.

    Stops and points out of reach.  By pitch the front axle lifts before it is reached; by the gap the
    splitter snaps down to the ground there.
    """
    softening = (
        front_downforce_area_loss / front_axle_rate - rear_downforce_area_loss / rear_axle_rate
    ) / wheelbase
    pressure = 1 / np.maximum(softening, 1e-12)
    by_pitch = np.clip(np.sqrt(2 * pressure / air_density) - headwind, 0, speed_cap)
    if not anywhere(splitter_ground_gain):
        return by_pitch
    snaps = first_fall(snap_margin, 1.0, speed_cap, steps=30).position
    return np.where(splitter_ground_gain > 0, snaps, by_pitch)
