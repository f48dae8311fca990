"""What takes the speed off again: brakes of five kinds, the motor's own, rolling out.

``brakes_*`` are the variants that a study chooses; ``braking`` and ``run_out`` stop the car with whichever it
is.  Read through the graph; other model files may import from here.  Another kind of brake: a file here that
defines the same quantities, and a variant of "brakes" in ``SUBJECTS``.
"""
