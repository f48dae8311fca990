"""Forms of the tables of a study, made of its schema: limits, conditions, candidates, measurements."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from types import UnionType
from typing import Any, Literal, Union, get_args, get_origin

from pydantic import BaseModel

from explorer.analyses.measurements import ACCURACY_KEYS, KEYS
from explorer.desk.editing import Place, at, shown
from explorer.study.catalogue import catalogue
from explorer.study.schema import CandidateEntry, ConditionEntry, LimitEntry
from explorer.study.study import Study


@dataclass(frozen=True)
class StudySection:
    """A section of the study with a room of its own: its words, one of them, and the schema of one."""

    words: str
    one: str
    schema: type[BaseModel] | None = None

    @property
    def keys(self) -> tuple[str, ...]:
        """What each of them may say, beyond the inputs that it overrides."""
        if self.schema is not None:
            return tuple(self.schema.model_fields)
        return (*(key for key in KEYS if key != "accuracy"), *(f"accuracy.{key}" for key in ACCURACY_KEYS))

    def types_of(self, key: str) -> tuple[Any, ...]:
        """List what a key may hold."""
        if self.schema is None:
            return {"take": (str,), "label": (str,), "reads": (list,)}.get(key, ())
        return tuple(_alternatives(self.schema.model_fields[key].annotation))

    def default(self, key: str) -> str:
        """Return what holds where a key does not stand, as far as that can be said."""
        default = None if self.schema is None else self.schema.model_fields[key].default
        return str(default).lower() if isinstance(default, int | float) else ""

    def holding(self, kind: type) -> tuple[str, ...]:
        """Name the keys that hold texts alone, or lists alone."""
        return tuple(key for key in self.keys if set(self.types_of(key)) - {type(None)} == {kind})


SECTIONS: Mapping[str, StudySection] = {
    "limits": StudySection("Limits", "limit", LimitEntry),
    "conditions": StudySection("Conditions", "condition", ConditionEntry),
    "candidates": StudySection("Candidates", "candidate", CandidateEntry),
    "measurements": StudySection("Measurements", "measurement"),
}
# What a key is called beside its field, where its own name would not say it.
LABELS: Mapping[str, str] = {
    "minus": "less its value in",
    "sure": "sure, so often",
    "why": "why it is asked",
    "like": "starts from",
    "take": "from the catalogue",
    "label": "what is measured: the …",
    "reads": "reads these inputs, with commas",
    "independent": "parts of their own, with commas",
    "accuracy.noise": "error of one reading",
    "accuracy.relative": "… as a share",
    "accuracy.leaves": "or what it leaves unknown",
    "accuracy.bias": "error all readings share",
    "accuracy.repeats": "readings averaged",
}
_CONDITIONS = ("condition", "minus", "like")
# Of the others those that do not stand are put away.
_FIRST = (
    "name",
    "quantity",
    "condition",
    "at_least",
    "at_most",
    "probability",
    "safety",
    *("take", "reads", "hours"),
)
_LONG = ("why", "words", "name", "label", "reads", "independent")


@dataclass(frozen=True)
class Field:
    """One key of a table as its form shows it."""

    key: str
    label: str
    value: str
    choices: tuple[str, ...] = ()
    listed: str = ""
    default: str = ""
    long: bool = False
    faulty: bool = False
    put_away: bool = False


@dataclass(frozen=True)
class SectionForm:
    """The form of one table, a new one without a title.

    ``name`` is what it is called in the file, and ``overrides`` the inputs that it gives otherwise.
    """

    section: str
    place: str
    title: str
    name: str
    fields: tuple[Field, ...]
    overrides: tuple[str, ...] = ()
    error: str = ""


def sheets(text: str, study: Study, section: str) -> Iterator[SectionForm]:
    """Write a form for every table of a section, and an empty one to add another."""
    tables = at(text, (section,)) or {}
    places: Sequence[str | int] = range(len(tables)) if section == "limits" else list(tables)
    for one in places:
        yield _sheet(study, (section, one), tables[one])
    yield _sheet(study, (section, len(tables) if section == "limits" else ""), {})


def _sheet(study: Study, place: tuple[str, str | int], table: Mapping[str, Any]) -> SectionForm:
    section = SECTIONS[place[0]]
    fields = []
    for key in section.keys:
        if key == "reads" and isinstance(table.get("reads"), Mapping):
            fields += [
                _field(section, study, f"reads.{read}.{how}", table)
                for read in table["reads"]
                for how in ACCURACY_KEYS
            ]
        else:
            fields.append(_field(section, study, key, table))
    title = str(table.get("name", "") if place[0] == "limits" else place[1])
    known = {*section.keys, *KEYS}
    return SectionForm(
        section=place[0],
        place=".".join(map(str, place)),
        title=title,
        name="" if place[0] == "limits" else str(place[1]),
        fields=tuple(fields),
        overrides=tuple(key for key in table if key not in known),
    )


def _field(section: StudySection, study: Study, key: str, table: Mapping[str, Any]) -> Field:
    value: Any = table
    for step in key.split("."):
        value = value.get(step) if isinstance(value, Mapping) else None
    known = key in section.keys
    choices = _choices(section, study, key) if known else ()
    words = LABELS.get(key, LABELS.get(f"accuracy.{key.rsplit('.')[-1]}", key)).replace("_", " ")
    if not known:  # of one of several inputs, each with an accuracy of its own
        words = f"{key.split('.')[1].replace('_', ' ')}: {words}"
    written = shown(value)
    return Field(
        key=key,
        label=words,
        value=written,
        choices=choices if not choices or written in choices else (*choices, written),
        listed="quantities" if key == "quantity" else "",
        default=section.default(key) if known and not choices else "",
        long=key in _LONG or len(written) > 24,
        put_away=section.schema is not ConditionEntry and not written and key not in (*_FIRST, *_LONG),
    )


def _choices(section: StudySection, study: Study, key: str) -> tuple[str, ...]:
    """List what may stand there, where that is a closed list."""
    if key in _CONDITIONS:
        return ("", *study.conditions)
    if key == "take":
        return ("", *catalogue())
    types = section.types_of(key)
    if bool in types:
        return ("", "true", "false")
    closed = [value for one in types if get_origin(one) is Literal for value in get_args(one)]
    return ("", *closed) if closed else ()


def _alternatives(annotation: Any) -> Iterator[Any]:
    """Take the types apart of which a key may hold one."""
    if get_origin(annotation) in (Union, UnionType):
        for one in get_args(annotation):
            yield from _alternatives(one)
    else:
        yield list if get_origin(annotation) is list else annotation


def written_as(place: Place) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """Return which keys of the table at a place are texts alone, and which are lists of names."""
    section = SECTIONS[str(place[0])]
    return section.holding(str), section.holding(list)


def fits(sheet: SectionForm, words: Sequence[str]) -> bool:
    """Whether all words of a search stand in a table."""
    said = " ".join([sheet.title, *(one.value for one in sheet.fields), *sheet.overrides])
    said = said.lower().replace("_", " ")
    return bool(sheet.title) and all(word in said for word in words)
