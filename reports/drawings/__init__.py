"""Drawings to scale, as SVG, from the nominal values of a run.

``sheet`` has the way from metres to the paper, ``sideview`` the car and ``linkage`` the moving wing.  For the
sections of the report and the desk.  Another view is a file of its own on a ``Sheet``.
"""
