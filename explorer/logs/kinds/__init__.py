"""The kinds of fit that a study may ask for, by name.

Each reads its columns from a ``task.Task``, calls an estimator of ``logs.fitting`` and says in a
``task.Finding`` what stands for the same thing in the study.  For ``logs.fits`` and the desk.
To add: the kind, in the ``KINDS`` of the file of its test.
"""

from __future__ import annotations

from explorer.logs.kinds import coasting, ride_height, throttle, workshop
from explorer.logs.kinds.task import Kind

KINDS: dict[str, Kind] = {**workshop.KINDS, **coasting.KINDS, **throttle.KINDS, **ride_height.KINDS}
