"""Push and resistance: power or motor, gears, grip of the driven tyres, top speed.

``drive_*`` are the variants that push; ``traction`` bounds them, ``speed`` and ``full_throttle_loads`` say
how fast and how light the car gets by them.  Read through the graph; other model files may import from here.
Another motor: a file here, and a variant of "drive" in ``SUBJECTS``.
"""
