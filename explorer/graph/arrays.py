"""Arrays by what they hold."""

from __future__ import annotations

from typing import TypeAlias

import numpy as np
import numpy.typing as npt

Array: TypeAlias = npt.NDArray[np.float64]
#: True where something holds.
Mask: TypeAlias = npt.NDArray[np.bool_]
