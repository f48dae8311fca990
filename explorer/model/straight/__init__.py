"""The straight in time: exit speed, full throttle, the flap's opening, braking, passing."""
