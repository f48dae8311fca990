"""The kinds of fit that a study may ask for, by name."""

from __future__ import annotations

from explorer.logs.kinds import coasting, ride_height, throttle, workshop
from explorer.logs.kinds.task import Kind

KINDS: dict[str, Kind] = {**workshop.KINDS, **coasting.KINDS, **throttle.KINDS, **ride_height.KINDS}
