"""Logs on the desk: kept beside the study, their columns mapped by eye, fitted, shown, and taken over."""

from __future__ import annotations

import re
from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from types import NoneType
from typing import TYPE_CHECKING, Any, Literal, get_args, get_origin

from explorer.desk import editing
from explorer.errors import ResultsError, SquatlineError, StudyError
from explorer.files.writing import told, write_whole

if TYPE_CHECKING:
    from explorer.logs.fit_records import FitRecord, ResidualPoints
    from explorer.logs.fits import Fitted
    from explorer.logs.kinds.task import Kind
    from explorer.logs.layout import Glimpse
    from explorer.study.study import Study

FOLDER = "logs"
ENDINGS = (".csv", ".tsv", ".txt", ".log")
# How many points a picture holds: more cannot be told apart.
MOST_POINTS = 250
PICTURE_WIDTH, PICTURE_HEIGHT = 440.0, 220.0
_LEFT, _RIGHT, _TOP, _BOTTOM = 64.0, 12.0, 10.0, 40.0


@dataclass(frozen=True)
class ColumnChoice:
    """A quantity that a kind of fit reads: is it needed, which column is likely to hold it, in which unit."""

    quantity: str
    needed: bool
    column: str
    unit: str


@dataclass(frozen=True)
class OptionField:
    """A key beside the columns; with choices where only some values may stand there."""

    key: str
    choices: tuple[str, ...]


@dataclass(frozen=True)
class Panel:
    """One observed quantity of a fit against what it was logged along, in pixels."""

    title: str
    along: str
    observed: tuple[tuple[float, float], ...]
    predicted: tuple[tuple[float, float], ...]
    low: tuple[str, str]
    high: tuple[str, str]


@dataclass(frozen=True)
class FoundFit:
    """A fit of the study as it stands, with what it found once it was asked for."""

    name: str
    kind: str
    files: tuple[str, ...]
    included: bool
    found: FitRecord | None


@dataclass(frozen=True)
class LogRoom:
    """What the room of the logs shows."""

    files: tuple[str, ...]
    file: str
    glimpse: Glimpse | None
    fault: str
    kinds: Mapping[str, str]
    kind: str
    columns: tuple[ColumnChoice, ...]
    free: bool
    options: tuple[OptionField, ...]
    bench: tuple[tuple[str, str], ...]
    each_run: tuple[OptionField, ...]
    name: str
    same_kind: tuple[str, ...]
    fits: tuple[FoundFit, ...]


def keep_log(folder: Path, name: str, content: bytes) -> str:
    """Keep a dropped log beside the study and return its name there; another one is never overwritten.

    Raises
    ------
    StudyError
        When it is no log by its name, or another log of that name is there.
    ResultsError
        When the system refuses.
    """
    plain = re.sub(r"[^\w.-]+", "_", name.replace("\\", "/").rpartition("/")[2]).lstrip(".")[-80:]
    if not plain.lower().endswith(ENDINGS):
        raise StudyError(
            "this is no log", found=name[:200] or "no file", allowed=f"a text file: {', '.join(ENDINGS)}"
        )
    file = folder / FOLDER / plain
    if not file.resolve().is_relative_to(folder.resolve()):
        raise ResultsError("a link leads away from the study", file=str(file), remedy="remove the link")
    with told("the log cannot be kept", file):
        if file.exists() and file.read_bytes() != content:
            raise StudyError(
                "another log of this name is there",
                file=str(file),
                remedy="give the new one another name, and drop it again",
            )
        file.parent.mkdir(exist_ok=True)
        write_whole(file, content)
    return plain


def kept_logs(folder: Path) -> tuple[str, ...]:
    """List the logs beside a study."""
    try:
        found = sorted(file.name for file in (folder / FOLDER).iterdir() if file.is_file())
    except OSError:
        return ()
    return tuple(name for name in found if name.lower().endswith(ENDINGS))


def log_room(study: Study, found: Mapping[str, FitRecord], file: str = "", kind: str = "") -> LogRoom:
    """Gather what the room shows, with one log open and looked at as one kind of fit would."""
    from explorer.logs.fits import included_as
    from explorer.logs.kinds import KINDS

    files = kept_logs(study.folder)
    file, kind = file if file in files else "", kind if kind in KINDS else ""
    glimpse, fault = _glimpse(study.folder / FOLDER / file) if file else (None, "")
    chosen = KINDS[kind] if kind else None
    entries = study.entries.fits
    return LogRoom(
        files=files,
        file=file,
        glimpse=glimpse,
        fault=fault,
        kinds={name: one.words for name, one in KINDS.items()},
        kind=kind,
        columns=tuple(_columns(chosen, glimpse)) if chosen and glimpse else (),
        free=bool(chosen and chosen.any_quantity),
        options=tuple(_options(chosen, study)) if chosen else (),
        bench=tuple(chosen.bench.items()) if chosen else (),
        each_run=tuple(_of_run(key, study) for key in chosen.each_run) if chosen else (),
        name=_free_name(kind, entries) if kind else "",
        same_kind=tuple(name for name, one in entries.items() if one.kind == kind)
        if chosen and chosen.each_run
        else (),
        fits=tuple(
            FoundFit(
                name,
                KINDS[one.kind].words if one.kind in KINDS else one.kind,
                tuple(run.file for run in one.runs) or (one.file or "",),
                any(included.file == included_as(name) for included in study.included),
                found.get(name),
            )
            for name, one in entries.items()
        ),
    )


def _glimpse(path: Path) -> tuple[Glimpse | None, str]:
    from explorer.logs.reader import glimpse

    try:
        return glimpse(path), ""
    except SquatlineError as error:
        return None, str(error)


def _columns(kind: Kind, glimpse: Glimpse) -> Iterator[ColumnChoice]:
    from explorer.logs.named_logs import ALSO_LOGGED
    from explorer.logs.reader import LOGGED

    wanted, optional = kind.columns
    for quantity in (*wanted, *optional):
        unit = {**LOGGED, **ALSO_LOGGED}.get(quantity, "1")
        place = glimpse.likeliest(quantity, unit)
        yield ColumnChoice(
            quantity,
            quantity in wanted,
            "" if place is None else glimpse.header[place],
            "" if place is None else glimpse.units[place],
        )


def _options(kind: Kind, study: Study) -> Iterator[OptionField]:
    for key, about in kind.options.model_fields.items():
        yield OptionField(key, _choices(key, about.annotation, study))


def _of_run(key: str, study: Study) -> OptionField:
    from explorer.study.schema import LogEntry

    return OptionField(key, _choices(key, LogEntry.model_fields[key].annotation, study))


def _choices(key: str, annotation: Any, study: Study) -> tuple[str, ...]:
    if key == "condition":
        return ("", *study.conditions)
    if key == "flap":
        return ("closed", "open")
    if annotation is bool:
        return ("true", "false")
    if get_origin(annotation) is Literal:
        return tuple(map(str, get_args(annotation)))
    return ()


def _free_name(kind: str, taken: Collection[str]) -> str:
    return next(name for n in range(1, len(taken) + 2) if (name := kind + f"_{n}" * (n > 1)) not in taken)


def with_fit(text: str, study: Study, form: Mapping[str, str]) -> str:
    """Write a section ``[fits.NAME]`` as the form of a log has it, or a further run of one that is there.

    Parameters
    ----------
    form:
        ``name``, ``kind``, ``file``, ``further``; ``column.Q`` and ``unit.Q`` of a quantity, ``quantity.N``
        and ``unit.N`` of a column given any; ``option.K``, ``known.K`` and ``run.K`` of other keys.

    Raises
    ------
    StudyError
        When the name is taken, or there is no such log or kind.
    """
    from explorer.logs.kinds import KINDS

    file, kind, name = form.get("file", ""), form.get("kind", ""), form.get("name", "").strip()
    if kind not in KINDS or file not in kept_logs(study.folder):
        raise StudyError("this is no log of the study, or no kind of fit", found=f"{file}, {kind}")
    columns = dict(_mapped(form))
    run = {"file": f"{FOLDER}/{file}", **_typed(form, "run.", _annotations_of_run())}
    if further := form.get("further", ""):
        before = editing.at(text, ("fits", further))
        if before is None or before.get("kind") != kind:
            raise StudyError("there is no such fit to add a run to", key=f"fits.{further}")
        own = {} if columns == editing.plain(before.get("columns", {})) else {"columns": columns}
        return editing.with_run(text, ("fits", further), {**run, **own})
    if name in study.entries.fits:
        raise StudyError("there is a fit of that name", key=f"fits.{name}", remedy="name it otherwise")
    options = _typed(form, "option.", {k: f.annotation for k, f in KINDS[kind].options.model_fields.items()})
    defaults = {k: f.default for k, f in KINDS[kind].options.model_fields.items()}
    values: dict[str, Any] = {"kind": kind}
    values |= {key: value for key, value in options.items() if value != defaults.get(key)}
    values |= {"runs": [run]} if KINDS[kind].each_run else {"file": run["file"]}
    known = {key[6:]: typed.strip() for key, typed in form.items() if key[:6] == "known." and typed.strip()}
    return editing.with_table(
        text, ("fits", name), values, {"columns": columns, **({"known": known} if known else {})}
    )


def _mapped(form: Mapping[str, str]) -> Iterator[tuple[str, dict[str, str]]]:
    """Return the columns that a form maps: quantity -> column, unit, and which way pitch counts."""
    for key, typed in form.items():
        kind, _, of = key.partition(".")
        if kind == "column" and typed:
            quantity, column = of, typed
        elif kind == "quantity" and typed.strip():
            quantity, column = typed.strip(), form.get(f"named.{of}", "")
        else:
            continue
        entry = {"column": column}
        if unit := form.get(f"unit.{of}", "").strip():
            entry["unit"] = unit
        if quantity == "pitch" and form.get("positive"):
            entry["positive"] = form["positive"]
        yield quantity, entry


def _typed(form: Mapping[str, str], start: str, annotations: Mapping[str, Any]) -> dict[str, Any]:
    """Return what the fields of a form that begin so hold, each as its key wants it; empty ones go."""
    found: dict[str, Any] = {}
    for key, annotation in annotations.items():
        typed = form.get(start + key, "").strip()
        if not typed:
            continue
        if get_origin(annotation) is list:
            found[key] = [one for one in re.split(r"[\s,;]+", typed) if one]
        else:
            found[key] = typed if annotation in (str, str | NoneType) else editing.value_typed(typed)
    return found


def _annotations_of_run() -> dict[str, Any]:
    from explorer.study.schema import LogEntry

    return {key: LogEntry.model_fields[key].annotation for key in ("flap", "direction", "condition")}


def take_over(fitted: Fitted, text: str) -> str:
    """Write a fit beside the study, and return the text that includes it.

    Raises
    ------
    SquatlineError
        When it should not be used, or cannot be written.
    """
    from explorer.logs.fit_writing import write_fit
    from explorer.study.editing import with_includes

    write_fit(fitted)
    return with_includes(text, [fitted.file])[0]


def panels(points: ResidualPoints | None) -> tuple[Panel, ...]:
    """Draw what was logged and what the fit says, a panel for each observed quantity."""
    if points is None:
        return ()
    return tuple(_panels(points))


def _panels(points: ResidualPoints) -> Iterator[Panel]:
    for channel, (name, unit) in enumerate(zip(points.channel_names, points.channel_units, strict=True)):
        rows = [n for n, one in enumerate(points.channel) if one == channel]
        rows = rows[:: max(1, len(rows) // MOST_POINTS)]
        if not rows:
            continue
        along = [points.abscissa[n] for n in rows]
        observed, predicted = ([side[n] for n in rows] for side in (points.observed, points.predicted))
        across, up = _scale(along), _scale([*observed, *predicted])
        yield Panel(
            f"{name.replace('_', ' ')} [{unit}]",
            points.abscissa_name.replace("_", " "),
            _placed(along, observed, across, up),
            _placed(along, predicted, across, up),
            (f"{across[0]:.4g}", f"{up[0]:.4g}"),
            (f"{across[1]:.4g}", f"{up[1]:.4g}"),
        )


def _scale(values: Sequence[float]) -> tuple[float, float]:
    low, high = min(values), max(values)
    return (low, high) if high > low else (low - 1.0, high + 1.0)


def _placed(
    along: Sequence[float], values: Sequence[float], across: tuple[float, float], up: tuple[float, float]
) -> tuple[tuple[float, float], ...]:
    """Return where the points stand in a panel."""
    width, height = PICTURE_WIDTH - _LEFT - _RIGHT, PICTURE_HEIGHT - _TOP - _BOTTOM
    rights = ((x - across[0]) / (across[1] - across[0]) for x in along)
    aboves = ((y - up[0]) / (up[1] - up[0]) for y in values)
    return tuple(
        (round(_LEFT + width * right, 1), round(_TOP + height * (1 - above), 1))
        for right, above in zip(rights, aboves, strict=True)
    )
