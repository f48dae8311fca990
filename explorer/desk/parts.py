"""The inputs of a study, part by part of the car."""

from __future__ import annotations

from collections.abc import Mapping

from explorer.study.car_parts import PARTS, part_of
from explorer.study.study import Input, Study


def inputs_by_part(study: Study) -> Mapping[str, tuple[Input, ...]]:
    """Sort the inputs that the study or its conditions give, then those left at their defaults, by part."""
    found: dict[str, list[Input]] = {part.name: [] for part in PARTS}
    for given in study.all_inputs():
        found[part_of(given.quantity)].append(given)
    return {name: tuple(sorted(inputs, key=lambda one: one.default)) for name, inputs in found.items()}
