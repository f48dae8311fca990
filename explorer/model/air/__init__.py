"""The air and how the car meets it: density, wind and slope, the wake of a car ahead.

Read through the graph; other model files may import from here.  What else the day or the track brings to the
car goes into ``motion``, or a file of its own listed in ``SUBJECTS``.
"""
