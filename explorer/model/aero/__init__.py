"""Air forces: rear wing in four variants, splitter and floor, and the car as a map.

``rear_wing`` is what all wings share, ``wing*`` its coefficients by four means; ``aero`` sums the parts, and
``aero_map`` with ``map_balance`` takes them from a map instead.  Read through the graph; other model files
may import from here.  A new way to know the wing: a file here, and a variant of "wing" in ``SUBJECTS``.
"""
