"""The straight in time: exit speed, full throttle, the flap's opening, braking, passing.

``run`` and ``full_throttle`` follow a car by Runge-Kutta steps; ``straight``, ``strip`` and ``passing`` hold
the quantities read from that, ``flap_*`` are the ways a flap opens.  Read through the graph; other model
files may import from here.  Another question about a run is a quantity in the file whose run answers it.
"""
