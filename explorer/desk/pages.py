"""What the templates are given: the car, its parts and their forms, the rooms of the study, and the rows."""

from __future__ import annotations

import secrets
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from explorer.analyses.live_leads import CARS
from explorer.analyses.nominal import computable, nominal_values
from explorer.desk.editing import Place, at
from explorer.desk.entry_forms import KINDS, LABELS, Fields, fields_of
from explorer.desk.logs import PICTURE_HEIGHT, PICTURE_WIDTH, log_room, panels
from explorer.desk.packet import Packet
from explorer.desk.parts import inputs_by_part
from explorer.desk.rows import HEIGHT, UNITS, WIDTH, name_of, place_of, rows
from explorer.desk.shapes import Shape, drawn, shape_of
from explorer.desk.sheets import SECTIONS, SectionForm, fits, sheets
from explorer.desk.workbench import Workbench
from explorer.errors import SquatlineError
from explorer.study.builds import read_builds
from explorer.study.car_parts import PARTS
from explorer.study.catalogue import methods_for
from explorer.study.study import Input, Study
from reports.blocks import SIGNS, Line
from reports.drawings.sideview import (
    can_draw,
    describe,
    drawn_quantities,
    exaggeration,
    largest_force,
    part_places,
    side_view,
)
from reports.findings import unfounded
from reports.formatting import count
from reports.page import environment
from reports.report import told

HERE = Path(__file__).parent
# Rooms of the study as a whole; the last two have their buttons at the top.
WHOLE = {"unknown": "To find out", "logs": "Logs", "file": "Whole file", "save": "Save", "packet": "Packet"}
# What a new study asks about the car: name -> (question, answer -> its words).
QUESTIONS: Mapping[str, tuple[str, Mapping[str, str]]] = {
    "flaps": (
        "flaps on one servo whose mechanism is looked at",
        {"0": "none: a wing with two positions", "1": "one", "2": "two", "3": "three"},
    ),
    "drive": (
        "what is known of the drive",
        {"power": "the power at the shaft", "electric": "battery, motor and gear"},
    ),
    "suspension": (
        "what is known of the springs",
        {"wheel-rate": "the rate at each wheel", "spring": "springs, motion ratios and tyres"},
    ),
    "brakes": (
        "brakes",
        {
            "": "stopping is not looked at",
            "ideal": "as strong as the tyres hold",
            "balance": "with a share to the front",
            "fitted": "as fitted, with their own torque",
            "none": "none: air, tyres and slope alone slow it",
        },
    ),
    "wake": ("does it follow another car?", {"": "no", "yes": "yes"}),
}
FOUND_AT_MOST = 40
# Of what is to be found out so much at once: what is put in makes room for the next.
MOST_AT_ONCE = 12


@dataclass(frozen=True)
class Form:
    """The form of one input: where it stands, what it is, its fields, and what was wrong with them."""

    place: str
    name: str
    summary: str
    unit: str
    words: str
    default: bool
    fields: Fields
    shape: Shape | None = None
    included_by: str = ""
    removable: bool = False
    measured: str = ""
    error: str = ""


@dataclass(frozen=True)
class Refused:
    """What a form had sent that could not be taken, and why."""

    place: str
    error: str
    fields: Fields | None = None
    keys: Mapping[str, str] | None = None
    text: str | None = None
    at: tuple[str, ...] = ()

    @classmethod
    def of(cls, place: Place, error: SquatlineError, **sent: Any) -> Refused:
        """Say it of the form of a place, and remember which keys were at fault."""
        at = tuple(one.key or "" for one in error.each)
        return cls(".".join(map(str, place)), str(error), at=at, **sent)

    def at_field(self, key: str) -> bool:
        """Whether a key was at fault."""
        return any(one.endswith(f".{key}") for one in self.at)


def _template(name: str) -> Any:
    return environment(HERE / "templates", trim=True).get_template(name)


def page(
    bench: Workbench,
    packet: Packet,
    room: str,
    *,
    find: str = "",
    told: str = "",
    refused: Refused | None = None,
    log: tuple[str, str] = ("", ""),
    patience: float = 0.0,
) -> str:
    """Write the whole page with one part of the car or one room open, and in that of the logs one log.

    For so many seconds it waits for the first cars, once all else is made.
    """
    study = bench.study
    parts = inputs_by_part(study)
    forms = _forms(bench, _asked_for(bench, parts, room, find), refused)
    shown = _sheets(bench, room, find, refused)
    places = {one.place for one in (*forms, *(over for sheet in shown for over in sheet.overrides))}
    places |= {sheet.of.place for sheet in shown}
    made = dict(
        title=study.title,
        file=bench.file.name,
        room=room,
        find=find,
        told=told,
        refused=refused,
        parts=[part for part in PARTS if parts[part.name]],
        unknown=len(_unknown(bench)),
        rooms=SECTIONS,
        drawing=_drawing(study),
        forms=forms,
        sheets=shown,
        # Its form may have gone meanwhile, in another tab.
        astray=refused.error if refused and "." in refused.place and refused.place not in places else "",
        quantities=study.graph.quantities,
        kinds=KINDS,
        said=_said,
        labels=LABELS,
        text=refused.text if refused and refused.text is not None else bench.text,
        difference=bench.difference() if room == "save" else (),
        seen=bench.seen(),
        unsaved=bench.unsaved,
        taken_up=bench.taken_up,
        can_undo=bool(bench.steps),
        elsewhere=bench.on_disk() != bench.saved,
        packet=packet,
        **(_logs(bench, log) if room == "logs" else {}),
        # A new name each time, so that what asks again by itself is new to the page too.
        again=secrets.token_hex(4),
    )
    bench.firming.wait_for_first(patience)
    return str(_template("desk.html").render(**made, **_verdicts(bench)))


def _logs(bench: Workbench, log: tuple[str, str]) -> dict[str, Any]:
    from reports.page import fragment
    from reports.sections.fitting import found_blocks

    study = bench.study
    return {
        "logs": log_room(study, bench.found, *log),
        "panels": panels,
        "picture": (PICTURE_WIDTH, PICTURE_HEIGHT),
        "said_of": lambda one: fragment(found_blocks(one, study), UNITS),
    }


def start_page(folder: str, error: str = "") -> str:
    """Write the page that asks what the car of a new study has."""
    template = _template("start.html")
    return str(template.render(folder=folder, questions=QUESTIONS, error=error))


def verdicts(bench: Workbench) -> str:
    """Write the rows alone, as they are asked for while they firm up."""
    return str(_template("rows.html").render(**_verdicts(bench)))


def shape(bench: Workbench, place: Place, fields: Fields) -> str:
    """Write the picture of an input alone, as it is asked for while one types."""
    found = shape_of(bench.study, bench.text, place, fields)
    return str(_template("shape_alone.html").render(drawn=found, said=_said))


def _said(line: Line) -> Any:
    from reports.page import fragment_of_line

    return fragment_of_line(line, UNITS)


def _verdicts(bench: Workbench) -> dict[str, Any]:
    firming = bench.firming
    bench.note_before()
    standing = firming.standing
    return {
        "rows": rows(
            bench.study, standing, bench.before if bench.unsaved else {}, firming.leads, firming.turn
        ),
        "standing": standing,
        "current": firming.current,
        "over": firming.over,
        "settled": firming.settled,
        "leads": sum(turn == firming.turn for turn, _ in firming.leads.values()),
        "weighed_on": count(CARS),
        "cautions": [_said(told(text)) for text in firming.cautions[1]],
        "of_before": firming.cautions[0] != firming.turn,
        "error_of_run": firming.error,
        "signs": SIGNS,
        "bar": (WIDTH, HEIGHT),
        "turn": firming.turn,
    }


def _first_drawn(study: Study) -> tuple[str, Mapping[str, float | None]] | None:
    """Return the first condition that can be drawn, and of it what is drawn: all else takes its time."""
    drawn = drawn_quantities(study.graph.families.get("point", ()))

    def wanted(where: str) -> list[str]:
        return [one for one in computable(study, where) if one in drawn]

    for name, condition in study.conditions.items():
        try:
            values = nominal_values(replace(study, conditions={name: condition}), wanted)[name]
        except SquatlineError:
            continue
        if can_draw(values):
            return name, values
    return None


def _drawing(study: Study) -> dict[str, Any] | None:
    """Draw the car in the first condition that can be drawn, with the places of its parts."""
    found = _first_drawn(study)
    if found is None:
        return None
    name, values = found
    points = study.graph.families.get("point", ())
    svg = side_view(
        values,
        points,
        system="as given",
        display=study.display,
        factor=exaggeration([values]),
        longest=largest_force([values]),
    )
    from markupsafe import Markup

    words = study.conditions[name].words or name.replace("_", " ")
    places = part_places(values, points)
    return {
        "svg": Markup(svg),  # every word in it has been escaped where it was drawn
        "words": words,
        "alternative": "".join(
            one if isinstance(one, str) else one.text("as given")
            for one in describe(values, words, study.display)
        ),
        "places": [(part, places[part.name]) for part in PARTS if part.name in places],
    }


def _unknown(bench: Workbench) -> list[Input]:
    """List the inputs that nobody has measured or looked up, first those that drive a limit that is open."""
    shares: dict[str, float] = {}
    standing = bench.firming.standing
    for limit, found in zip(bench.study.limits, standing.verdicts.limits if standing else (), strict=False):
        lead = bench.firming.leads.get(limit.name)
        for key, share in lead[1].drivers if lead is not None and found.verdict != "pass" else ():
            shares[key] = max(share.value, shares.get(key, 0.0))
    given = bench.study.inputs.values()
    unknown = [one for one in given if not one.default and unfounded(one.source)]
    return sorted(unknown, key=lambda one: -shares.get(one.key, 0.0))


def _asked_for(
    bench: Workbench, parts: Mapping[str, Sequence[Input]], room: str, find: str
) -> Sequence[Input]:
    study = bench.study
    if room == "unknown" and not find:
        return _unknown(bench)[:MOST_AT_ONCE]
    if not find:
        return parts.get(room, ())
    words = _words(find)

    def fits(given: Input) -> bool:
        said = f"{given.key.replace('_', ' ')} {study.graph[given.quantity].summary}".lower()
        return all(word in said for word in words)

    found = [given for inputs in parts.values() for given in inputs if fits(given)]
    return sorted(found, key=lambda one: one.default)[:FOUND_AT_MOST]


def _words(find: str) -> list[str]:
    return find.lower().replace("_", " ").split()


def _forms(bench: Workbench, inputs: Sequence[Input], refused: Refused | None) -> list[Form]:
    study = bench.study
    included = {name: one.file for one in study.included for name in one.before}
    return [_form(bench, one, place_of(one), refused, included.get(one.key, "")) for one in inputs]


def _form(
    bench: Workbench, given: Input, stands: Place, refused: Refused | None, included_by: str = ""
) -> Form:
    quantity, place = bench.study.graph[given.quantity], ".".join(map(str, stands))
    entry = at(bench.text, stands)
    fields = Fields("one value", {"value": ""}) if entry is None else fields_of(entry)
    mine = refused is not None and refused.place == place
    typed = refused.fields if mine and refused and refused.fields else fields
    return Form(
        place=place,
        name=name_of(bench.study, given),
        summary=quantity.summary,
        unit="" if quantity.unit == "1" else quantity.unit,
        words=given.distribution.words(given.display_unit),
        default=given.default,
        fields=typed,
        shape=drawn(bench.study, given)
        if typed is fields
        else shape_of(bench.study, bench.text, stands, typed),
        included_by=included_by,
        removable=stands[0] != "inputs",
        measured=next((one["how"] for one in methods_for(bench.study.graph, given.quantity).values()), "")
        if unfounded(given.source) and not given.default
        else "",
        error=refused.error if mine and refused else "",
    )


@dataclass(frozen=True)
class ShownSheet:
    """The form of a table with those of the inputs it overrides, and what was wrong with it."""

    of: SectionForm
    overrides: Sequence[Form]
    error: str = ""


def _sheets(bench: Workbench, room: str, find: str, refused: Refused | None) -> list[ShownSheet]:
    """Write the forms of a section's tables, or of all that a search finds."""
    asked = [room] if room in SECTIONS and not find else list(SECTIONS) if find else []
    every = [sheet for section in asked for sheet in sheets(bench.text, bench.study, section)]
    words = _words(find)
    return [_sheet(bench, one, refused) for one in every if not find or fits(one, words)]


def _sheet(bench: Workbench, sheet: SectionForm, refused: Refused | None) -> ShownSheet:
    overrides = [
        _form(bench, given, (sheet.section, sheet.name, given.quantity), refused)
        for given in _overridden(bench.study, sheet).values()
        if given.quantity in sheet.overrides
    ]
    if refused is None or refused.place != sheet.place:
        return ShownSheet(sheet, overrides)
    typed = refused.keys or {}
    asked = [
        replace(one, value=typed.get(one.key, one.value), faulty=refused.at_field(one.key))
        for one in sheet.fields
    ]
    return ShownSheet(
        replace(sheet, fields=tuple(asked), name=typed.get("", sheet.name)), overrides, refused.error
    )


def _overridden(study: Study, sheet: SectionForm) -> Mapping[str, Input]:
    """Return the inputs that a condition or a candidate gives otherwise."""
    if sheet.section == "conditions" and sheet.name in study.conditions:
        return study.conditions[sheet.name].overrides
    builds = {one.name: one for one in read_builds(study)} if sheet.section == "candidates" else {}
    return builds[sheet.name].overrides if sheet.name in builds else {}
