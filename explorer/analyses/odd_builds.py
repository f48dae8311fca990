"""What is odd of a candidate, or at an end of a design variable or a sweep, and not of the study itself."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from contextlib import suppress
from dataclasses import replace

from explorer.analyses.nominal import nominal_values
from explorer.analyses.odd_combinations import odd_inputs
from explorer.analyses.room import ROOM_INPUTS, out_of_room, room_quantities
from explorer.errors import SquatlineError
from explorer.graph.units import parse
from explorer.graph.words import Sentence, in_unit, told
from explorer.study.builds import read_builds
from explorer.study.distributions import Exact
from explorer.study.study import Input, Study


def odd_builds(study: Study, known: Iterable[Sentence]) -> Iterator[Sentence]:
    """Yield the cautions of each candidate, design variable and sweep, the place in the study in front.

    Parameters
    ----------
    known:
        What is told of the study itself.
    """
    before = {in_unit(words) for words in known}
    for place, inputs in _changed(study):
        for words in _odd(replace(study, inputs={**study.inputs, **inputs}), inputs):
            if in_unit(words) not in before:
                yield (f"{place}: ", *(told(words) if isinstance(words, str) else words))


def _odd(study: Study, changed: Mapping[str, Input]) -> Iterator[Sentence]:
    yield from odd_inputs(study)
    if not ROOM_INPUTS.isdisjoint(changed):
        yield from out_of_room(study, nominal_values(study, lambda where: room_quantities(study, where)))


def _changed(study: Study) -> Iterator[tuple[str, dict[str, Input]]]:
    """Yield what each candidate, and each end of a design variable or sweep, gives in place of the inputs."""
    # What cannot be read is refused by those who use it.
    with suppress(SquatlineError):
        for build in read_builds(study):
            given = {name: replace(one, key=name) for name, one in build.overrides.items()}
            yield f"candidates.{build.name}", given
    for name, entry in study.entries.design.items():
        for end, value in (("low", entry.low), ("high", entry.high)):
            with suppress(SquatlineError):
                nominal, written = parse(value, entry.unit, study.graph[name].unit)
                yield f"design.{name}.{end}", {name: Input(name, name, Exact(nominal), written)}
    for number, sweep in enumerate(study.sweeps, 1):
        # A sweep may begin at a speed that no car is made for: it shows how a quantity goes.
        for end, value in (("from", sweep.values[0]), ("to", sweep.values[-1])):
            if sweep.along not in ("speed", "flap_opening"):
                swept = Input(sweep.along, sweep.along, Exact(value), sweep.display_unit)
                yield f"sweeps[{number}].{end}", {sweep.along: swept}
