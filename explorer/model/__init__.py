"""The physics, one subject a file, and which files stand for which subject.

A subject with several variants has several files that define the same quantities by other means: the study
chooses one of them under ``[models]``; without a choice the first one listed is taken.
"""

from __future__ import annotations

import importlib
from collections.abc import Iterable, Mapping
from types import ModuleType

from explorer.errors import StudyError, nearest

#: subject -> variant -> names of its files in this package; the first variant is the default.
SUBJECTS: dict[str, dict[str, tuple[str, ...]]] = {
    "air": {"moist": ("air",)},
    "motion": {"steady": ("motion",)},
    "car": {"weighed": ("car",)},
    "wing": {
        "coefficients": ("rear_wing", "wing"),
        "table": ("rear_wing", "wing_table"),
        "polar": ("rear_wing", "wing_polar"),
        "geometry": ("rear_wing", "wing_geometry"),
    },
    "aero": {
        "parts": ("aero", "equilibrium", "blow_over", "air_in_motion", "road", "heave_pitch"),
        "map": ("aero_map",),
    },
    "suspension": {"springs": ("suspension",)},
    "pitch": {"steady": ("pitch",)},
    "drive": {"power": ("drive_power",), "electric": ("drive_electric", "gearing")},
    "traction": {"friction": ("traction",)},
    "speed": {"steady": ("speed",)},
    "brakes": {"ideal": ("brakes_ideal",), "balance": ("brakes_balance",)},
    "braking": {"tyres": ("braking",)},
    "corner": {"steady": ("corner",)},
    "flap": {"timed": ("flap_timed",), "servo": ("flap_servo",)},
    "straight": {"timed": ("full_throttle", "straight")},
    "passing": {"same_car": ("passing",)},
    "wake": {"losses": ("wake",)},
    "elements": {"measured": ("element",)},
    "linkage": {"four_bar": ("linkage", "level")},
    "slots": {"plates": ("slot", "binding")},
    "hinge": {"coefficients": ("hinge",)},
    "servo": {"motor": ("servo",)},
    "heave_pitch": {"half_car": ("half_car",)},
    "strength": {"beams": ("strength", "rod", "mount")},
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
    for subject, variant in chosen.items():
        _require(subject, SUBJECTS, "models", "there is no model subject of this name")
        _require(variant, SUBJECTS[subject], f"models.{subject}", "this subject has no such variant")
    names = [
        name
        for subject, variants in SUBJECTS.items()
        for name in variants[chosen.get(subject, next(iter(variants)))]
    ]
    return [importlib.import_module(f"{__name__}.{name}") for name in names]


def _require(name: str, known: Iterable[str], key: str, problem: str) -> None:
    known = list(known)
    if name not in known:
        near = nearest(name, known)
        raise StudyError(
            problem,
            key=key,
            found=name,
            allowed=", ".join(known),
            remedy=f"did you mean {near!r}?" if near else "take one of the allowed names",
        )
