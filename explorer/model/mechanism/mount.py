"""The wing mounts: upright struts that carry the wing's drag and downforce down to the body.

Drag at the wing's height and downforce behind the foot both bend a mount backwards, most at its foot.  The
mounts share the load evenly; sideways loads and twist are left out.
"""

from __future__ import annotations

import numpy as np

from explorer.graph.arrays import Array
from explorer.graph.quantity import given, quantity
from explorer.model.numeric import reserve_factor

wing_mount_count = given("1", "Number of mounts that carry the wing.", default=2.0, at_least=1, lever="1")
wing_mount_foot_station = given(
    "m",
    "Station of the section that bends most, where the mount leaves the body, behind the front axle.",
    usual="-100 to 900 mm",
)
wing_mount_foot_height = given("m", "Height of that section above the ground.", usual="5 to 350 mm")
wing_mount_depth = given(
    "m", "Depth of one mount at its foot, front to back.", above=0, usual="2 to 80 mm", lever="1 mm"
)
wing_mount_width = given(
    "m", "Width of one mount at its foot, left to right.", above=0, usual="1 to 60 mm", lever="0.5 mm"
)
wing_mount_strength = given(
    "Pa", "Bending strength of the mount's material.", above=0, usual="15 to 300 MPa, typically 45"
)


@quantity("N m", source="statics: moments about the foot")
def wing_mount_moment(
    dynamic_pressure: Array,
    load_factor: Array,
    wing_drag_area: Array,
    wing_height: Array,
    wing_mount_foot_height: Array,
    wing_downforce_area: Array,
    wing_station: Array,
    wing_mount_foot_station: Array,
    wing_mount_count: Array,
) -> Array:
    """Moment that bends one mount backwards at its foot, the load factor in it."""
    by_drag = wing_drag_area * (wing_height - wing_mount_foot_height)
    by_downforce = wing_downforce_area * (wing_station - wing_mount_foot_station)
    return load_factor * dynamic_pressure * (by_drag + by_downforce) / wing_mount_count


@quantity("m3", source="rectangle, b h^2/6")
def wing_mount_section_modulus(wing_mount_width: Array, wing_mount_depth: Array) -> Array:
    """Section modulus of one mount at its foot; give it for another shape than a full rectangle."""
    return wing_mount_width * wing_mount_depth**2 / 6


@quantity("Pa", source="bending stress M/Z")
def wing_mount_stress(wing_mount_moment: Array, wing_mount_section_modulus: Array) -> Array:
    """Largest bending stress in a mount."""
    return np.abs(wing_mount_moment) / wing_mount_section_modulus


@quantity("1", source="definition", capped_by="reserve_cap")
def wing_mount_strength_margin(
    wing_mount_strength: Array, wing_mount_stress: Array, reserve_cap: Array
) -> Array:
    """Reserve factor: strength over stress; below 1 the mount breaks and the car loses its wing."""
    return reserve_factor(wing_mount_strength, wing_mount_stress, reserve_cap)
