"""A section checked against its shape, and all that is wrong with it put into words at once."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Any, TypeVar

from pydantic import BaseModel, ValidationError

from explorer.errors import Faults, StudyError, did_you_mean, nearest
from explorer.study.schema import Keys

if TYPE_CHECKING:
    from pydantic_core import ErrorDetails

AnySection = TypeVar("AnySection", bound=Keys)


def read_section(section: type[AnySection], data: dict[str, Any], key: str = "") -> AnySection:
    """Check the shape of one section, standing at a key.

    Raises
    ------
    StudyError
        For all its faults at once, with the nearest known key where one is unknown.
    """
    faults = Faults()
    try:
        return section.model_validate(data)
    except ValidationError as error:
        # What may stand in several forms has a fault for each: the first is told.
        told = {fault["loc"]: fault for fault in reversed(error.errors())}
        # A key written wrongly is not missing besides.
        for fault in [fault for fault in told.values() if fault["type"] == "extra_forbidden"]:
            meant = (*fault["loc"][:-1], _meant(fault, section) or "")
            if meant in told and told[meant]["type"] == "missing":
                del told[meant]
        faults.found += [_in_words(fault, section, key) for fault in reversed(told.values())]
    raise faults.all_at_once()


# Keys that had another name once.
_RENAMED = {
    "minimum": "at_least",
    "min": "at_least",
    "maximum": "at_most",
    "max": "at_most",
    "more_than": "at_least",
    "above": "at_least",
    "less_than": "at_most",
    "below": "at_most",
    "tracks": "logged_runs",
    "aims": "objectives",
    "choice": "decision",
    "aim": "objective",
    "cost_of_false_pass": "weight",
    "cost_of_false_fail": "weight",
}


def _in_words(fault: ErrorDetails, root: type[Keys], under: str) -> StudyError:
    place, kind = fault["loc"], fault["type"]
    key = ".".join(part for part in (under, _dotted(place)) if part).removesuffix(".[key]")
    if kind == "extra_forbidden":
        known = _keys_at(place[:-1], root)
        near = _meant(fault, root)
        return StudyError(
            f"{place[-1]!r} is not a key that may stand here",
            key=key,
            allowed=", ".join(sorted(known)),
            remedy=f"did you mean {near!r}?"
            if near
            else "remove it, or look in 'squatline new' for an example",
        )
    if kind == "too_long" and "actual_length" in fault["ctx"]:
        return StudyError(
            "there are too many of them",
            key=key,
            found=str(fault["ctx"]["actual_length"]),
            allowed=f"up to {fault['ctx']['max_length']}",
            remedy="make several studies of it",
        )
    if kind == "string_pattern_mismatch":
        return StudyError(
            "this cannot be a name",
            key=key,
            found=_short(fault.get("input")),
            allowed="small letters, digits and _, a letter first",
            remedy=_as_name(str(fault.get("input"))),
        )
    if kind == "missing" and isinstance(place[-1], int):
        return StudyError(
            "there are too few of them",
            key=key.removesuffix(f"[{place[-1] + 1}]"),
            allowed=f"at least {place[-1] + 1}",
            remedy="add what is missing, or take the section out",
        )
    if kind == "missing":
        return StudyError(
            f"{place[-1]!r} is missing", key=key, remedy="add it; 'squatline new' shows an example"
        )
    problem, allowed, remedy = _said(fault)
    return StudyError(problem, key=key, found=_short(fault.get("input")), allowed=allowed, remedy=remedy)


# What the library calls a fault begins so -> what is wrong, and what may stand there.
_SAID = {
    "int_": ("this is no whole number", "a number without quotes and without a decimal point"),
    "float_": ("this is no number", "a number without quotes, with a decimal point"),
    "finite_": ("this is no number", "a number that is not infinite"),
    "bool_": ("this is neither true nor false", "true or false, without quotes"),
    "string_too_short": ("this is empty", "some words"),
    "string_type": ("this is no text", "words in straight quotes"),
    "list_": ("this is no list", "values in square brackets with commas between"),
    "tuple_": ("this is no list", "values in square brackets with commas between"),
    "model_": ("this is no section", "keys below a heading in square brackets, or in { }"),
    "dict_": ("this is no section", "keys below a heading in square brackets, or in { }"),
    "too_short": ("there are too few of them", "at least one"),
}
_BOUNDS = {
    "greater_than": "above {gt}",
    "greater_than_equal": "at least {ge}",
    "less_than": "below {lt}",
    "less_than_equal": "up to {le}",
}


def _said(fault: ErrorDetails) -> tuple[str, str | None, str | None]:
    """Say what is wrong, what is allowed, and a remedy."""
    kind, context = fault["type"], fault.get("ctx", {})
    if kind in _BOUNDS:
        allowed = _BOUNDS[kind].format(**context)
        return "the number is out of range", allowed, f"write a number {allowed}; check its decimal point"
    if kind == "literal_error":
        allowed = context["expected"]
        known = re.findall(r"'([^']*)'", allowed)
        remedy = (
            f'write one of these, in straight quotes: {fault["loc"][-1]} = "{known[-1]}"' if known else None
        )
        return "this may not stand here", allowed, did_you_mean(fault.get("input"), known, remedy)
    for begin, (problem, allowed) in _SAID.items():
        if kind.startswith(begin):
            return problem, allowed, _as_number(fault) if begin in ("int_", "float_") else f"write {allowed}"
    message = fault["msg"].removeprefix("Value error, ")
    problem, _, remedy = message.partition(": write ")
    return problem[0].lower() + problem[1:], None, f"write {remedy}" if remedy else None


def _as_name(text: str) -> str:
    """Offer a name in the letters that a name may have."""
    name = re.sub(r"[^a-z0-9]+", "_", text.lower()).strip("_")
    return f"write {name}" if re.match("[a-z]", name) else f"write n_{name}"


def _as_number(fault: ErrorDetails) -> str:
    """Offer the number within a text, without quotes and spaces."""
    digits = re.sub(r"(?<=\d)[\s,'_.](?=\d{3}\b)", "", str(fault.get("input")))
    found = re.search(r"\d+(?:\.\d+)?", digits)
    return f"write {found[0]}, without quotes" if found else "write the number alone, without quotes"


def _meant(unknown: ErrorDetails, root: type[Keys]) -> str | None:
    """Return the key that an unknown one is most like."""
    *place, name = unknown["loc"]
    return _RENAMED.get(str(name)) or nearest(str(name), _keys_at(tuple(place), root))


def _short(value: Any) -> str:
    text = repr(value)
    return text if len(text) < 120 else text[:117] + "..."


def _dotted(place: tuple[int | str, ...]) -> str:
    text = ""
    for part in place:
        text += f"[{part + 1}]" if isinstance(part, int) else f".{part}" if text else str(part)
    return text


def _keys_at(place: tuple[int | str, ...], root: type[Keys]) -> set[str]:
    """Keys that the section at a place below the root may hold."""
    section: Any = root
    for part in place:
        if isinstance(part, int) or section is None:
            continue
        annotation = section.model_fields[part].annotation if part in section.model_fields else None
        section = _section_in(annotation) or section
    return {info.alias or name for name, info in section.model_fields.items()}


def _section_in(annotation: Any) -> Any:
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return annotation
    for inner in getattr(annotation, "__args__", ()):
        found = _section_in(inner)
        if found is not None:
            return found
    return None
