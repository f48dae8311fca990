"""Builds: the study as it stands, or with some of the common inputs given otherwise."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace

from explorer.errors import Faults, StudyError, unknown, with_file
from explorer.graph.graph import Graph
from explorer.graph.words import Words
from explorer.study.inputs import Input, read_inputs
from explorer.study.schema import CandidateEntry
from explorer.study.study import Study
from explorer.study.throttle import refuse_decided

# What a candidate sets, unless its entry says where the number is from.
SET_BY_CANDIDATE = "set by the candidate"


@dataclass(frozen=True)
class Override:
    """What a condition or a candidate sets in place of a common input."""

    quantity: str
    unit: str
    display_unit: str
    words: Words
    source: str | None


@dataclass(frozen=True)
class Build:
    """One way to build the car: overrides of the common inputs, which conditions may override in turn."""

    name: str
    words: str
    overrides: Mapping[str, Input] = field(default_factory=dict)

    def scope(self, study: Study, condition: str) -> dict[str, Input]:
        """Return inputs by quantity as they stand for this build in a condition."""
        return study.conditions[condition].over({**study.inputs, **self.overrides})

    def given_names(self, study: Study, condition: str) -> set[str]:
        """Names at which the graph stops for this build in a condition: inputs and tables."""
        return set(self.scope(study, condition)) | set(study.tables)


AS_IT_STANDS = Build("as_it_stands", "as it stands")


def read_builds(study: Study) -> tuple[Build, ...]:
    """Read the candidates of a study.

    Raises
    ------
    StudyError
        When a candidate overrides what is unknown, impossible, or set by every condition, or is called as a
        condition is.
    """
    found, faults = [], Faults()
    for name, entry in study.entries.candidates.items():
        with faults.noted(), with_file(str(study.path)):
            found.append(_build(study, name, entry))
    faults.tell()
    return tuple(found)


def find_build(
    study: Study, name: str | None, otherwise: Build = AS_IT_STANDS, key: str = "candidates"
) -> Build:
    """Return the candidate of a name, or another build without a name.

    Raises
    ------
    StudyError
        When no candidate is called so.
    """
    if name is None:
        return otherwise
    builds = {build.name: build for build in read_builds(study)}
    if name not in builds:
        problem, define = "no candidate is called {}", "define it under [candidates]"
        raise unknown(problem, name, builds, key, otherwise=define).within(file=str(study.path))
    return builds[name]


def _build(study: Study, name: str, entry: CandidateEntry) -> Build:
    key = f"candidates.{name}"
    if name == AS_IT_STANDS.name and entry.overrides:
        raise StudyError(
            "this is the name of the car as the study has it",
            key=key,
            found=", ".join(entry.overrides),
            remedy="rename the candidate",
        )
    if name in study.conditions:
        raise StudyError(
            "a candidate and a condition have the same name",
            key=key,
            found=name,
            remedy="rename the candidate",
        )
    for quantity in entry.independent:
        if quantity not in entry.overrides:
            raise StudyError(
                "an independent input is one that this candidate overrides",
                key=f"{key}.independent",
                found=quantity,
                allowed=", ".join(entry.overrides) or "none, since it overrides nothing",
            )
    read = read_inputs(entry.overrides, study.graph, study.folder, key)
    independent = {one for named in entry.independent for one in study.graph.of_family(named) or (named,)}
    overrides = {
        quantity: _override(study, name, given, quantity in independent) for quantity, given in read.items()
    }
    return Build(name, entry.words or name.replace("_", " "), overrides)


def _override(study: Study, build: str, read: Input, independent: bool) -> Input:
    quantity = read.quantity
    check_not_always_overridden(study, quantity, f"candidates.{build}.{quantity}")
    return replace(
        read,
        key=f"{quantity}@{build}",
        source=read.source or (SET_BY_CANDIDATE if read.exact else None),
        follows=None if independent else quantity,
    )


def check_not_always_overridden(study: Study, quantity: str, key: str) -> None:
    """Refuse a common value that no condition would ever use, or not the one whose throttle decides it.

    Raises
    ------
    StudyError
        When every condition sets this quantity itself, or the throttle of one does.
    """
    refuse_decided(study, quantity, study.conditions, key)
    if all(quantity in condition.overrides for condition in study.conditions.values()):
        raise StudyError(
            "every condition sets this quantity itself, so a common value would never be used",
            key=key,
            found=quantity,
            remedy="take it out of the conditions, or change it there",
        )


def scopes_of(study: Study, builds: Iterable[Build]) -> dict[str, dict[str, Input]]:
    """Scopes for one program that evaluates several builds: ``build/condition`` -> quantity -> input."""
    return {
        place(build.name, condition): build.scope(study, condition)
        for build in builds
        for condition in study.conditions
    }


def place(build: str, condition: str) -> str:
    """Name a condition of one build."""
    return f"{build}/{condition}"


def overrides_in(inputs: Mapping[str, Input], graph: Graph) -> tuple[Override, ...]:
    """Say what a build or a condition sets."""
    return tuple(
        Override(name, graph[name].unit, given.display_unit, given.distribution.said, given.source)
        for name, given in inputs.items()
    )
