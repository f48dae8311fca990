"""Quantities found by the words of a workshop: names, sentences, subjects, units; pure lists in and out."""

from __future__ import annotations

import importlib
import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from explorer.console.explain import ListedQuantity
from explorer.errors import nearest
from explorer.model import SUBJECTS

MOST_FOUND = 20
# What a workshop says -> parts of names or sentences it is called by here; all are common words of the trade.
SYNONYMS: Mapping[str, tuple[str, ...]] = {
    "backflip": ("blow_over", "lift_off"),
    "backlash": ("play",),
    "balance": ("balance", "aero_balance"),
    "battery": ("battery", "cell"),
    "bind": ("binding", "jam"),
    "bump": ("road", "bump"),
    "camber": ("camber",),
    "cap": ("cap",),
    "cd": ("drag_coefficient", "drag_area"),
    "centre": ("cg",),
    "center": ("cg",),
    "cl": ("downforce_coefficient",),
    "clearance": ("clearance",),
    "cog": ("cg",),
    "crosswind": ("side_wind", "side"),
    "downforce": ("downforce",),
    "drop": ("compression", "clearance"),
    "esc": ("current",),
    "efficiency": ("efficiency",),
    "flap": ("flap", "element"),
    "flip": ("blow_over",),
    "gear": ("gear", "ratio"),
    "gearing": ("gear",),
    "grip": ("friction", "grip"),
    "ground": ("clearance",),
    "gust": ("wind",),
    "heat": ("temperature", "heat"),
    "horn": ("arm",),
    "kv": ("motor_constant", "speed_constant", "kv"),
    "leverage": ("motion_ratio", "arm"),
    "lift": ("lift_off", "lift"),
    "linkage": ("rod", "arm", "linkage"),
    "lipo": ("battery",),
    "motor": ("motor",),
    "pack": ("battery",),
    "power": ("power",),
    "pushrod": ("rod",),
    "rake": ("static_pitch", "pitch"),
    "ride": ("ride", "clearance"),
    "scrape": ("clearance", "touch"),
    "servo": ("servo",),
    "slop": ("play",),
    "spring": ("spring", "wheel_rate", "axle_rate"),
    "squat": ("pitch", "rear_compression"),
    "stall": ("stall",),
    "stiffness": ("rate", "stiffness"),
    "stop": ("stopping", "braking"),
    "suspension": ("spring", "wheel_rate", "motion_ratio", "compression"),
    "temp": ("temperature",),
    "tire": ("tyre",),
    "torque": ("torque", "moment"),
    "voltage": ("voltage",),
    "vmax": ("top_speed",),
    "volts": ("voltage",),
    "weather": ("air_temperature", "air_pressure", "humidity", "wind"),
    "weight": ("mass", "load"),
    "wheelie": ("lift_off", "blow_over"),
    "wing": ("wing", "element"),
}
# Several words that mean one thing are read as one.
PHRASES = {
    "ride height": "clearance",
    "top speed": "vmax",
    "centre of gravity": "cog",
    "center of gravity": "cog",
    "drag coefficient": "cd",
    "lift coefficient": "cl",
    "side wind": "crosswind",
    "blow over": "backflip",
}
# Words of the study file that are no quantities, and what is written there.
STUDY_WORDS: Mapping[str, str] = {
    "throttle": "A condition holds its speed unless it says how the car is driven: under [conditions.NAME], "
    'throttle = "full" or throttle = "coasting". A car that gains speed carries less at the front. '
    "'squatline explain full throttle' lists what is told of it.",
    "contact": 'contact = "points" under [models] lets the points named under [families] carry load where '
    "they come down to the road, and scrape there with contact_friction; without it they sink into the road, "
    "and only their clearance tells. A limit of safety is judged on the wheels alone as well, and by the "
    "less favourable of the two: no car meets it because it stands on a point. 'squatline explain contact "
    "load' lists what is told of it.",
    "standing_counts": "standing_counts = true in a limit with safety = true lets a car meet it that stands "
    "on a point of its body; without it the limit is judged on the wheels alone as well. It matters only "
    'with contact = "points" under [models].',
    "safety": "safety = true in a limit says that somebody can be hurt where it is missed: the report leads "
    "with it, no car meets it because it stands on a point of its body (unless it says standing_counts = "
    "true), and the highest speed of a test day is sought among the speeds at which all of them pass.",
    "today": "[today] gives what varies from run to run as it was read on the day, such as "
    'air_temperature = "21 ± 1 degC"; a run then says up to which speed the safety limits hold today. '
    "Take it out again afterwards.",
    "varies": "varies = true in an entry of [inputs] says that the input is another one in every run, false "
    'that it has one value, which could be learnt. varies = "0.5 m/s" says both: the entry is what is known '
    "of the mean, and each run lies about it with that standard deviation, as an input of its own; only the "
    "mean is offered for measuring.",
    "usual": 'NAME = "usual" under [inputs] stands for a coefficient that is not known: it is drawn from '
    "what is usual of such cars, marked as assumed and ranked; 'squatline explain NAME' has its range.",
    "sure": "probability = 0.95 with sure = 0.9 in a limit asks that the car holds it in 95 of 100 of its "
    "runs, and that this is 90 % sure over all that is not known of the car.",
}
# Little words that say nothing of a quantity.
_LITTLE = frozenset(
    ["a", "an", "and", "at", "by", "for", "how", "in", "is", "it", "of", "on", "or", "the", "to", "what"]
)


@dataclass(frozen=True)
class PhysicsSubject:
    """A part of the physics: the files of one folder, and what each of them is about."""

    name: str
    words: str
    files: Mapping[str, str]


def subjects() -> list[PhysicsSubject]:
    """Return the parts of the physics in the order of the models."""
    found: dict[str, dict[str, str]] = {}
    for name in dict.fromkeys(
        file for variants in SUBJECTS.values() for files in variants.values() for file in files
    ):
        folder, _, file = name.rpartition(".")
        found.setdefault(folder, {})[file] = _first_line(f"explorer.model.{name}")
    return [
        PhysicsSubject(folder, _first_line(f"explorer.model.{folder}"), files)
        for folder, files in found.items()
    ]


def _first_line(module: str) -> str:
    return (importlib.import_module(module).__doc__ or "").strip().splitlines()[0]


def find(words: str, entries: Iterable[ListedQuantity]) -> list[ListedQuantity]:
    """Return the quantities meant by some words, the likeliest first.

    Parameters
    ----------
    words:
        As a builder would say it: "rear spring", "vmax", "N/mm", or the name of a subject.
    entries:
        Quantities with name, summary, subject and unit.
    """
    listed = list(entries)
    asked = words.strip().casefold().replace("-", " ")
    folder = next((tuple(one.files) for one in subjects() if one.name == asked), ())
    of_subject = [entry for entry in listed if entry.subject in (*folder, asked.replace(" ", "_"))]
    for phrase, word in PHRASES.items():
        asked = asked.replace(phrase, word)
    wanted = [word for word in re.findall(r"[^\W_]+", asked) if word not in _LITTLE]
    scored = _scored(wanted, listed)
    if not scored and not of_subject and len(wanted) > 1:
        known = {part for entry in listed for part in entry.name.split("_")} | SYNONYMS.keys()
        scored = _scored([nearest(word, known) or word if len(word) > 3 else word for word in wanted], listed)
    if not scored and not of_subject:
        return _by_unit(words.strip(), listed)
    # Of equals what the study can give comes first, then the shorter name.
    scored.sort(key=lambda one: (-one[0], not one[1].given, len(one[1].name)))
    found = [entry for _, entry in scored]
    return found + [entry for entry in of_subject if entry not in found]


def _scored(wanted: Sequence[str], entries: Sequence[ListedQuantity]) -> list[tuple[int, ListedQuantity]]:
    return [(score, entry) for entry in entries if (score := _score(wanted, entry))]


def _score(wanted: Sequence[str], entry: ListedQuantity) -> int:
    """Add up how well each word fits; nothing when one of them does not fit at all."""
    name, sentence = entry.name, entry.summary.casefold()
    scores = [_fit(word, name, sentence) for word in wanted]
    return sum(scores) if scores and all(scores) else 0


def _fit(word: str, name: str, sentence: str) -> int:
    stems = {word, word.removesuffix("s")}
    meant = [called for stem in stems for called in SYNONYMS.get(stem, ())]
    parts = name.split("_")
    if stems & set(parts) or word == name:
        return 10
    if any(called in name for called in meant):
        return 9 if name in meant else 8
    if any(len(stem) > 2 and any(part.startswith(stem) for part in parts) for stem in stems):
        return 6
    said = {form for part in re.findall(r"[^\W_]+", sentence) for form in (part, part.removesuffix("s"))}
    if stems & said:
        return 3
    return 2 if any(called in said for called in meant) else 0


def _by_unit(text: str, entries: Sequence[ListedQuantity]) -> list[ListedQuantity]:
    """Return the quantities that are given in a unit, where the text is one."""
    from explorer.errors import UnitError
    from explorer.graph.units import dimension_matches, known_unit, resolved

    try:
        known_unit(text)
    except UnitError:
        return []
    return [entry for entry in entries if dimension_matches(resolved(text, entry.unit), entry.unit)]
