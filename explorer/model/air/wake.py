"""In the wake of a car ahead: what it takes from front axle and balance, and what it gives in speed."""

from __future__ import annotations

from explorer.graph.arrays import Array
from explorer.graph.quantity import Curve, quantity

_WAKE = ("wake_loss_front", "wake_loss_rear")


@quantity("N", source="difference to undisturbed air", varying={"front_axle_load": _WAKE})
def wake_front_load_loss(front_axle_load: Curve, wake_loss_front: Array, wake_loss_rear: Array) -> Array:
    """Load the front axle loses in the wake, at this speed and flap opening."""
    return front_axle_load(0.0, 0.0) - front_axle_load(wake_loss_front, wake_loss_rear)


@quantity(
    "1",
    source="difference to undisturbed air",
    varying={"aero_balance_front": _WAKE},
    fails="no downforce to share, or the pitch has diverged",
)
def wake_balance_change(aero_balance_front: Curve, wake_loss_front: Array, wake_loss_rear: Array) -> Array:
    """Change of the front's share of the downforce in the wake; negative: the balance moves rearwards."""
    return aero_balance_front(wake_loss_front, wake_loss_rear) - aero_balance_front(0.0, 0.0)


@quantity(
    "m/s",
    source="difference to undisturbed air",
    varying={"top_speed": _WAKE},
    fails="no top speed in the wake or out of it: see top_speed",
)
def wake_top_speed_gain(top_speed: Curve, wake_loss_front: Array, wake_loss_rear: Array) -> Array:
    """Top speed the wake gives, since the drag falls too; at this flap opening."""
    return top_speed(wake_loss_front, wake_loss_rear) - top_speed(0.0, 0.0)
