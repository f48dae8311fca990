"""What ``check`` says: the nominal car against the limits, what is odd, assumed, missing, and what varies."""

from __future__ import annotations

import math
import shlex
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

import numpy as np

from explorer.analyses.nominal import Nominal, nominal_or_error
from explorer.analyses.odd import asked_at_nominal, odd
from explorer.analyses.ways_to_measure import ways_to_measure
from explorer.graph.labels import input_label
from explorer.graph.words import in_unit
from explorer.study.limits import Limit
from explorer.study.study import Study
from explorer.study.throttle import throttle_words, with_throttle
from explorer.study.usual import ASSUMED
from reports.blocks import Block, Bullets, Cell, Code, Column, Heading, Line, Strong, Table, cell
from reports.findings import GUESSES
from reports.formatting import Amount, Units, amount, counted, unread_words
from reports.report import said
from reports.terminal import show_blocks

# With more uncertain inputs than this a first look pays.
MANY_INPUTS = 40
# More names than this hide the lines beside them; all stand in the study, and under --all.
_NAMED = 8


def check_as_data(study: Study) -> dict[str, Any]:
    """Return inputs and all nominal values as plain data (SI units)."""
    nominal = nominal_or_error(study)
    return {
        "title": study.title,
        "inputs": [
            {
                "key": given.key,
                "words": given.distribution.words(given.display_unit),
                "nominal": float(given.distribution.nominal),
                "sd": float(given.distribution.sd) if math.isfinite(given.distribution.sd) else None,
                "unit": study.graph[given.quantity].unit,
                "source": given.source,
                "varies": given.varies,
                "default": given.default,
            }
            for given in study.all_inputs()
        ],
        "nominal": {name: dict(values) for name, values in nominal.items()},
        "warnings": [in_unit(one) for one in odd(study, nominal)],
        "unread": list(ways_to_measure(study).unread),
    }


def show_check(study: Study, named: Path, everything: bool) -> None:
    """Print what was understood of a study named so; with ``everything`` its inputs and quantities too."""
    nominal = nominal_or_error(study) if everything else asked_at_nominal(study)
    blocks: list[Block] = [Heading(study.title), _limits(study, nominal)]
    blocks += _listed("odd", [said(caution) for caution in odd(study, nominal)])
    most = None if everything else _NAMED
    blocks += _listed("assumed", _assumed(study, most))
    blocks += _listed("missing", _missing(study, nominal, most))
    blocks += _listed("varies", _varying(study))
    blocks += _listed("measuring", _measuring(study))
    if everything:
        blocks += [_inputs(study, nominal), _quantities(study, nominal)]
    path = shlex.quote(str(named))
    blocks += _listed(
        "next",
        [
            (Code(f"squatline run {path}"), ": draw the cars and judge the limits"),
            *(
                []
                if everything
                else [(Code(f"squatline check {path} --all"), ": name and list all inputs and quantities")]
            ),
        ],
    )
    show_blocks(blocks)


def _listed(heading: str, items: list[Line]) -> Iterator[Block]:
    if items:
        yield Heading(heading)
        yield Bullets(tuple(items))


def _limits(study: Study, nominal: Nominal) -> Block:
    """Say whether the car with every input at its nominal value meets each limit, and by how much."""
    found = {
        (name, where): np.asarray(np.nan if value is None else value)
        for where, values in nominal.items()
        for name, value in values.items()
    }
    values = [float(limit.output.value(found)) for limit in study.limits]
    room = [float(limit.margin(np.asarray(value))) for limit, value in zip(study.limits, values, strict=True)]
    met = sum(one >= 0 for one in room)
    rows = [
        (
            cell(with_throttle(limit.name, throttle_words(study, limit.output))),
            Cell(_standing(study, limit, value, margin)),
        )
        for limit, value, margin in zip(study.limits, values, room, strict=True)
    ]
    return Table(
        "limits",
        f"With every input at its nominal value: {met} of {counted(len(room), 'limit')} met",
        (Column("limit"), Column("nominal car")),
        tuple(rows),
    )


def _standing(study: Study, limit: Limit, value: float, margin: float) -> Line:
    if math.isnan(margin):
        return (Strong("no answer"),)
    unit = study.graph[limit.output.quantity].unit
    if unit == "1" and value in (0.0, 1.0):
        return ("met",) if margin >= 0 else (Strong("missed"),)
    by = amount(abs(margin), Units(unit, limit.display_unit), difference=True, digits=3)
    return ("met, ", by, " to spare") if margin >= 0 else (Strong("missed by "), by)


def _assumed(study: Study, most: int | None) -> list[Line]:
    names = [one.key for one in study.all_inputs() if (one.source or "").startswith(ASSUMED)]
    return [_named(study, "from what is usual of such cars", names, most)] if names else []


def _named(study: Study, what: str, keys: list[str], most: int | None) -> Line:
    """Count inputs of a kind and name some, members of a family by the line that they share in the study."""
    shared = {
        member: name
        for name in study.entries.inputs
        for member in study.graph.of_family(name)
        if member not in study.entries.inputs
    }
    names = list(dict.fromkeys(shared.get(key, key) for key in keys))
    more = f" and {len(names) - most} more lines" if most and len(names) > most else ""
    return (f"{counted(len(keys), 'input')} {what}: ", Code(", ".join(names[:most])), more)


def _missing(study: Study, nominal: Nominal, most: int | None) -> list[Line]:
    failing = {
        name: where for where, values in nominal.items() for name, value in values.items() if value is None
    }
    found: list[Line] = [
        (Code(name), f": no answer at the nominal values ({_why_none(study, name, where)})")
        for name, where in sorted(failing.items())
    ]
    entries = study.entries
    logs = [fit.file for fit in entries.fits.values() if fit.file]
    logs += [run.file for fit in entries.fits.values() for run in fit.runs]
    logs += [run.file for run in entries.logged_runs.values()]
    gone = [one for one in dict.fromkeys(logs) if not (study.folder / one).is_file()]
    if gone:
        found.append(("no such file beside the study: ", Code(", ".join(gone))))
    silent = [one.key for one in study.all_inputs() if one.source is None]
    guesses = [one.key for one in study.all_inputs() if (one.source or "").lower().startswith(GUESSES)]
    kinds = (("without a source", silent), ("made up or guessed", guesses))
    return found + [_named(study, what, keys, most) for what, keys in kinds if keys]


def _why_none(study: Study, name: str, where: str) -> str:
    """Say why a quantity has no answer in a condition: what the first one on the way to it says."""
    graph, given = study.graph, study.given_names(where)
    behind = sorted(graph.upstream([name], given))
    values = nominal_or_error(study, lambda there: behind if there == where else [name])[where]
    lacking = [one for one, value in values.items() if value is None]
    first = min(lacking, key=lambda one: (len(graph.upstream([one], given)), one), default=name)
    return graph[first].fails or graph[name].fails or "not finite"


def _varying(study: Study) -> list[Line]:
    """Say how much is uncertain, and what of it no measurement of this car will tell."""
    given = [one for one in study.all_inputs() if not one.default]
    uncertain = sum(not one.exact for one in given)
    varying = [_called(study, one.key) for one in study.all_inputs() if one.varies and not one.exact]
    found: list[Line] = [
        (f"{uncertain} of {counted(len(given), 'input')} are uncertain; the others are exact",),
        (
            f"vary from run to run: {', '.join(varying) or 'none'}; each of the others has one true value, "
            "which could be measured",
        ),
    ]
    if study.any_day.inputs:
        found.append(("read on the day: ", Code(", ".join(study.any_day.inputs))))
    if uncertain > MANY_INPUTS:
        found.append((Code("squatline screen"), ": sort out those that matter to no limit"))
    return found


def _called(study: Study, key: str) -> str:
    return input_label(key, {name: one.words for name, one in study.conditions.items()})


def _measuring(study: Study) -> list[Line]:
    """Say which measurements a run would weigh, and for which inputs there is none."""
    ways = ways_to_measure(study)
    known = len(ways.from_catalogue)
    counts = ((len(ways.measurements) - known, "of the study"), (known, "home methods of the catalogue"))
    said = " and ".join(f"{count} {which}" for count, which in counts if count)
    found: list[Line] = [(f"measurements to weigh: {said}",)] if said else []
    found += [(one,) for one in ways.cautions]
    if ways.unread:
        found.append((unread_words([_called(study, key) for key in ways.unread]),))
        if not known:
            found.append((Code("[measuring] catalogue = true"), " weighs home methods for them"))
    return found


def _inputs(study: Study, nominal: Nominal) -> Block:
    used = {name for values in nominal.values() for name in values}
    rows = [
        (
            cell(Code(one.key)),
            cell(one.distribution.words(one.display_unit)),
            cell(one.source or Strong("no source given")),
        )
        for one in study.all_inputs()
        if not one.default or one.quantity in used
    ]
    return Table("inputs", "Inputs", (Column("input"), Column("given as"), Column("source")), tuple(rows))


def _quantities(study: Study, nominal: Nominal) -> Block:
    names = dict.fromkeys(name for values in nominal.values() for name in values if name not in study.inputs)
    rows = []
    for name in names:
        unit = study.unit_of(name)
        cells = [Cell((_nominal(study, name, unit, values),)) for values in nominal.values()]
        rows.append((cell(Code(name)), *cells))
    columns = (Column("quantity"), *(Column(condition, number=True) for condition in nominal))
    return Table("nominal", "Nominal values", columns, tuple(rows))


def _nominal(study: Study, name: str, unit: str, values: Mapping[str, float | None]) -> str | Amount:
    """Write a nominal value; one at the cap of its search was not reached below it."""
    if name not in values:
        return ""
    value, cap = values[name], values.get(study.graph[name].capped_by or "")
    shown = amount(value, Units(study.graph[name].unit, unit))
    if value is not None and cap is not None and value >= cap:
        return f"over {shown.text('as given')}"
    return shown
