"""The air forces while the car moves on its springs: those of the steady model at every instant.

The air answers at once and to the attitude alone, not to how fast it changes: that adds a little damping on
a real car.  Forces are written over how far the rear is lower than the front, the lean.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from explorer.graph.arrays import Array
from explorer.graph.quantity import quantity
from explorer.model.aero.ground_effect import GroundEffect
from explorer.model.attitude.supports import Support
from explorer.model.ride.half_car import HalfCar, both_axles


class AirOnAxles(NamedTuple):
    """Loads the air puts on both axles: every field has the shape (2, samples), front first.

    Attributes
    ----------
    level:
        Downforce area at the pitch at rest.
    loss:
        Downforce area lost per metre of lean.
    transfer:
        Load moved between the axles by acceleration and slope.
    """

    level: Array
    loss: Array
    transfer: Array

    def load(self, pressure: Array, lean: Array) -> Array:
        """Return the loads on both axles at a dynamic pressure and a lean."""
        return pressure * (self.level - self.loss * lean) + self.transfer


@quantity("1", source="small angles: areas straight in the pitch, seen over the lean")
def air_on_axles(
    front_downforce_area: Array,
    rear_downforce_area: Array,
    front_downforce_area_loss: Array,
    rear_downforce_area_loss: Array,
    load_transfer: Array,
    static_pitch: Array,
    wheelbase: Array,
) -> AirOnAxles:
    """Air loads of both axles over the lean, together, as the motion in time needs them."""
    level = both_axles(
        front_downforce_area - front_downforce_area_loss * static_pitch,
        rear_downforce_area - rear_downforce_area_loss * static_pitch,
    )
    loss = both_axles(front_downforce_area_loss / wheelbase, rear_downforce_area_loss / wheelbase)
    return AirOnAxles(level, loss, both_axles(-load_transfer, load_transfer))


class RoadPoints(NamedTuple):
    """Points under the body that the road pushes up: every field has the shape (points, samples).

    Attributes
    ----------
    share:
        Place behind the front axle over the wheelbase.
    reach:
        How far the body goes down there from rest to the road.
    rate:
        Load per travel beyond.
    """

    share: Array
    reach: Array
    rate: Array

    def travel(self, drop: Array, road: Array | float) -> Array:
        """Return how far each point is down on the road, by how far the body is down over both axles."""
        travel: Array = drop[0] + self.share * (drop[1] - drop[0]) + road
        return travel

    def beyond(self, drop: Array, road: Array | float) -> Array:
        """Return how far each point is pressed into the road."""
        beyond: Array = np.maximum(self.travel(drop, road) - self.reach, 0)
        return beyond

    def load(self, beyond: Array) -> Array:
        """Return what pressed points take off both axles."""
        push = self.rate * beyond
        return np.stack((np.sum(push * (1 - self.share), axis=0), np.sum(push * self.share, axis=0)))


@quantity("1", source="definition")
def road_points(points_under_car: tuple[Support, ...]) -> RoadPoints:
    """Named points, together, as the motion in time needs them; none where the road carries none."""
    if not points_under_car:
        return RoadPoints(*np.zeros((3, 0)))
    rows = [(point.share, point.reach, point.rate) for point in points_under_car]
    return RoadPoints(*(np.stack(np.broadcast_arrays(*column)) for column in zip(*rows, strict=True)))


@quantity(
    "1/s",
    source="eigenvalues of the linear equations of motion; Bisplinghoff, Ashley & Halfman, Aeroelasticity, "
    "ch. 8 and 9",
)
def ride_decay_rate(
    half_car: HalfCar,
    air_on_axles: AirOnAxles,
    splitter_ground_effect: GroundEffect,
    dynamic_pressure: Array,
    front_compression: Array,
    rear_compression: Array,
) -> Array:
    """Rate at which the slowest small swing about the steady attitude dies away at this speed.

    Zero at the divergence speed; negative where a small disturbance grows by itself.  Wheels on the road,
    stops and points out of reach.
    """
    car = half_car
    front, rear = (dynamic_pressure * loss for loss in air_on_axles.loss)
    nothing = np.zeros_like(front)
    mobility = _square(car.own[0], car.across[0], car.across[1], car.own[1])
    # Lean is the rear's travel less the front's: the front loses air load by it and gains it back by its own.
    stiffness = _square(car.rate[0] - front, front, -rear, car.rate[1] + rear)
    if np.any(splitter_ground_effect.gain):
        by_front, by_rear = splitter_ground_effect.load_per_travel(
            dynamic_pressure, front_compression, rear_compression
        )
        stiffness = stiffness - _square(by_front[0], by_rear[0], by_front[1], by_rear[1])
    damping = _square(car.damping[0] + nothing, nothing, nothing, car.damping[1] + nothing)
    motion = np.zeros((*stiffness.shape[:-2], 4, 4))
    motion[..., :2, 2:] = np.eye(2)
    motion[..., 2:, :2] = -mobility @ stiffness
    motion[..., 2:, 2:] = -mobility @ damping
    known = np.all(np.isfinite(motion), axis=(-2, -1))
    growth = np.max(np.linalg.eigvals(np.where(known[..., None, None], motion, 0.0)).real, axis=-1)
    return np.where(known, -growth, np.nan)


def _square(*entries: Array) -> Array:
    """Return one matrix of two rows per sample, samples first."""
    stacked = np.stack(np.broadcast_arrays(*entries), axis=-1)
    return stacked.reshape(*stacked.shape[:-1], 2, 2)
