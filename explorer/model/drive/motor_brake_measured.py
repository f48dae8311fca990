"""The motor as a brake, as a builder without its data knows it: by the push it gives."""

from __future__ import annotations

from explorer.graph.quantity import given

motor_brake_force = given(
    "N",
    """Push at the driven tyres with which the motor brakes, full on, taken as the same at every speed.

    0 for a motor that does not brake.  From a log: mass times deceleration, less what coasting takes.
    """,
    at_least=0,
    usual="0 to 200 N",
    lever="2 N",
)
