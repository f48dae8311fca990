"""The physics, one subject a file, and which files stand for which subject.

A subject with several variants has several files that define the same quantities by other means: the study
chooses one of them under ``[models]``; without a choice the first one listed is taken.  Model files import
numpy, the decorators of ``graph`` and each other; the study reads them through ``modules``.  A new file is
listed in ``SUBJECTS``, as a subject or as a variant of one.
"""

from __future__ import annotations

import importlib
from collections.abc import Iterable, Mapping
from types import ModuleType

from explorer.errors import Faults, unknown
from explorer.graph.quantity import quantities_of

#: subject -> variant -> names of its files in this package; the first variant is the default.
SUBJECTS: dict[str, dict[str, tuple[str, ...]]] = {
    "air": {"moist": ("air.air",)},
    "motion": {"steady": ("air.motion",)},
    "car": {"weighed": ("attitude.car",)},
    "wing": {
        "coefficients": ("aero.rear_wing", "aero.wing"),
        "table": ("aero.rear_wing", "aero.wing_table"),
        "polar": ("aero.rear_wing", "aero.wing_polar"),
        "geometry": ("aero.rear_wing", "aero.wing_geometry"),
    },
    "aero": {
        "parts": (
            "aero.aero",
            "aero.ground_effect",
            "attitude.equilibrium",
            "attitude.blow_over",
            "ride.air_in_motion",
            "ride.road",
            "ride.wheel_hop",
            "ride.heave_pitch",
        ),
        "map": ("aero.aero_map",),
    },
    "suspension": {"springs": ("attitude.suspension",)},
    "pitch": {"steady": ("attitude.pitch",)},
    "contact": {"none": ("attitude.contact_none",), "points": ("attitude.contact_points",)},
    "drive": {
        "power": ("drive.drive_power", "drive.motor_brake_measured"),
        "electric": (
            "drive.drive_electric",
            "drive.gearing",
            "drive.motor_brake",
            "drive.battery",
            "drive.heat",
        ),
    },
    "traction": {"friction": ("drive.traction",)},
    "speed": {"steady": ("drive.speed", "drive.full_throttle_loads", "drive.wheel_lift")},
    "radio": {"delays": ("brakes.radio",)},
    "brakes": {
        "ideal": ("brakes.brakes_ideal", "brakes.brakes_unlimited"),
        "balance": ("brakes.brakes_balance", "brakes.brakes_unlimited"),
        "fitted": ("brakes.brakes_fitted",),
        "none": ("brakes.brakes_ideal", "brakes.brakes_none"),
    },
    "braking": {"tyres": ("brakes.braking", "brakes.run_out", "brakes.leaving")},
    "corner": {"steady": ("straight.corner",)},
    "side_wind": {"steady": ("attitude.side_wind",)},
    "flap": {"timed": ("straight.flap_timed",), "servo": ("straight.flap_servo",)},
    "straight": {"timed": ("straight.full_throttle", "straight.straight", "straight.strip")},
    "passing": {"same_car": ("straight.passing",)},
    "wake": {"losses": ("air.wake",)},
    "elements": {"measured": ("mechanism.element",)},
    "linkage": {"four_bar": ("mechanism.linkage", "mechanism.level")},
    "slots": {"plates": ("mechanism.slot", "mechanism.binding")},
    "hinge": {"coefficients": ("mechanism.hinge",)},
    "servo": {"motor": ("mechanism.servo", "mechanism.play")},
    "heave_pitch": {"half_car": ("ride.half_car",)},
    "strength": {
        "beams": (
            "mechanism.strength",
            "mechanism.rod",
            "mechanism.mount",
            "mechanism.twist",
            "mechanism.flutter",
        )
    },
}


def modules(choices: Mapping[str, str] | None = None) -> list[ModuleType]:
    """Import the model files for these choices, subject by subject.

    Parameters
    ----------
    choices:
        subject -> variant; subjects left out take their first variant.

    Returns
    -------
    list of modules, in the order of ``SUBJECTS``.

    Raises
    ------
    StudyError
        When a subject or a variant is unknown.
    """
    chosen = dict(choices or {})
    faults = Faults()
    for subject, variant in chosen.items():
        with faults.noted():
            _require(subject, SUBJECTS, f"models.{subject}", "there is no model subject of this name")
            _require(variant, SUBJECTS[subject], f"models.{subject}", "this subject has no such variant")
    faults.tell()
    names = [
        name
        for subject, variants in SUBJECTS.items()
        for name in variants[chosen.get(subject, next(iter(variants)))]
    ]
    return [importlib.import_module(f"{__name__}.{name}") for name in names]


def variant_with(quantity: str) -> str | None:
    """Say what to choose under ``[models]`` for a quantity that only some variants know; None without any."""
    for subject, variants in SUBJECTS.items():
        files = {
            variant: [importlib.import_module(f"{__name__}.{name}") for name in names]
            for variant, names in variants.items()
        }
        knowing = [
            f'"{variant}"'
            for variant, modules_of_it in files.items()
            if any(one.name == quantity for file in modules_of_it for one in quantities_of(file))
        ]
        if knowing:
            return f"{subject} = {' or '.join(knowing)}"
    return None


def _require(name: str, known: Iterable[str], key: str, problem: str) -> None:
    known = list(known)
    if name not in known:
        raise unknown(problem, name, known, key, otherwise="take one of the allowed names")
