"""The car in motion on its springs: bumps, crests and gusts in time.

``road`` says what comes, ``ride`` steps the car over it by ``half_car``, ``stepping`` and ``following``, and
``heave_pitch`` holds the quantities read from that.  Read through the graph; other model files may import
from here.  Another thing met on the road goes into ``road``, another figure of the motion into ``Excursion``.
"""
