"""The two decorators of the physics: a quantity that is computed, and one that is given.

A quantity is one small pure function: its name is the quantity, its parameters are the quantities it needs,
its docstring is its handbook entry.  Arrays in, arrays out, SI units inside, angles in radians.

    mass = given("kg", "Mass of the car ready to run, battery in.", above=0)

    @quantity("Pa", source="half density times airspeed squared")
    def dynamic_pressure(air_density, airspeed):
        '''Dynamic pressure of the air meeting the car.'''
        return air_density * airspeed**2 / 2

What is solved once and answers several questions returns a named tuple.  Fields that are annotated with a
``Part`` are quantities of their own:

    class Attitude(NamedTuple):
        pitch: Annotated[Array, Part("rad", "Steady pitch of the car at this speed, nose-up positive.")]
        front_compression: Annotated[Array, Part("m", "How far the front has gone down from rest.")]

What a function may ask for beyond plain values:

* ``varying={"excess_force": "speed"}`` hands the parameter ``excess_force`` over as a function of speed:
  this is how roots, travels and straights are written without a second copy of any formula.
* A name that begins with ``element_`` makes one copy per declared element; inside, other ``element_`` names
  are those of the same element.  A function that is not per element and asks for an ``element_`` name
  receives all of them stacked, elements first: shape (elements, samples).  ``point_`` does the same.
* A name that begins with ``axle_`` makes one for the front and one for the rear: ``axle_`` that begins a
  name, and {axle} in its entry, stand for either.
"""

from __future__ import annotations

import inspect
import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from operator import attrgetter
from typing import Any, TypeAlias, TypeVar, get_type_hints

from explorer.errors import GraphError
from explorer.graph.arrays import Array

Curve: TypeAlias = Callable[..., Array]

#: Ends the name of a quantity that is judged on a car whose points carry nothing on the road.
ON_WHEELS = "_on_wheels_alone"
AXLES = ("front", "rear")
# A quantity whose name begins with one of them is repeated for every member that the study names.
FAMILIES = ("element", "point")
#: Subject of the inputs that are errors of models, by which they are known again.
MODEL_ERRORS = "model_errors"


def asked_name(name: str) -> str:
    """Return the name of the quantity that a study asked for, where it is judged on the wheels alone."""
    return name.partition(ON_WHEELS)[0]


Function = TypeVar("Function", bound=Callable[..., Any])


@dataclass(frozen=True)
class Need:
    """One parameter of a quantity's function.

    ``names`` holds one quantity, or all members of a family when ``stacked``; ``over`` names the quantities
    the parameter is a function of (empty for a plain value).
    """

    names: tuple[str, ...]
    stacked: bool = False
    over: tuple[str, ...] = ()


@dataclass(frozen=True)
class Usual:
    """What a quantity usually is on electric model cars of 1:10 to 1:5.

    Attributes
    ----------
    low, high:
        Ends of the usual range, as text with a unit.
    typical:
        Between them, where a value that is not known may be drawn from the range; None where a tape or scales
        tell it, or where it is chosen.
    source:
        Where the range comes from; judgement, as most of them are, unless something published says it.
    """

    low: str
    typical: str | None
    high: str
    source: str = "judgement"


@dataclass(frozen=True)
class Quantity:
    """What is known of a quantity before any number is: the handbook entry and how to compute it.

    Attributes
    ----------
    name, unit:
        Its name and its SI unit as text ("1" for a pure number).
    summary, description, source:
        First sentence and rest of the docstring, and the equation, clause or "definition" behind it.
    needs:
        Parameters, in order; empty for a given quantity.
    function:
        None when the study must give it.
    default:
        Value taken when the study is silent; None means that it must be given, or is computed.
    above, at_least, at_most:
        Physical range of a given quantity.
    fails:
        What a value that is not a number means here, in words for the report.
    capped_by:
        Name of the quantity at which a search stops; a value at the cap means "not reached".
    subject:
        Name of the model file.
    table:
        Column names, when the quantity is a table read from a CSV file.
    record:
        True when its function returns several values in a named tuple: it is no number itself.
    parts:
        The fields of that tuple that are quantities of their own.
    usual:
        What it usually is, where a study may give it.
    of_the_day:
        Whether it is another one in every run, as wind is, and not one true value that could be learnt.
    lever:
        A sensible step, as text with a unit, where a builder can set it; empty where it is only not known.
    """

    name: str
    unit: str
    summary: str
    description: str = ""
    source: str = ""
    needs: tuple[Need, ...] = ()
    function: Callable[..., Any] | None = None
    default: float | None = None
    above: float | None = None
    at_least: float | None = None
    at_most: float | None = None
    fails: str = ""
    capped_by: str | None = None
    subject: str = ""
    table: tuple[str, ...] = ()
    record: bool = False
    parts: tuple[Quantity, ...] = ()
    usual: Usual | None = None
    of_the_day: bool = False
    lever: str = ""

    @property
    def is_given(self) -> bool:
        """True when no function computes it."""
        return self.function is None

    @property
    def needed_names(self) -> tuple[str, ...]:
        """Names of all quantities it needs directly, without those it varies itself."""
        return tuple(dict.fromkeys(name for need in self.needs for name in need.names))

    def allows(self, value: float) -> bool:
        """Tell whether a value lies in the physical range."""
        return (
            (self.above is None or value > self.above)
            and (self.at_least is None or value >= self.at_least)
            and (self.at_most is None or value <= self.at_most)
        )

    @property
    def allowed_range(self) -> str:
        """Say the physical range in words, in SI units."""
        words = [
            f"{word} {bound:g}"
            for word, bound in (("above", self.above), ("at least", self.at_least), ("at most", self.at_most))
            if bound is not None
        ]
        unit = "" if self.unit == "1" else f" {self.unit}"
        return (" and ".join(words) + unit) if words else "any number"


@dataclass(frozen=True)
class Part:
    """What a field of a named tuple means as a quantity; the rest of its entry is its function's.

    ``fails`` is as for ``quantity``; without it those words of the function hold.
    """

    unit: str
    text: str
    fails: str = ""


def given(unit: str, text: str, *, usual: Usual | str | None = None, **said: Any) -> Any:
    """Declare a quantity that the study gives, under the name it is bound to.

    Parameters
    ----------
    unit, text:
        SI unit, and what it is.
    usual:
        "0.3 to 3.0 /rad, typically 1.0", or a ``Usual`` where the range has a source.
    said:
        What else a ``Quantity`` holds: default, above, at_least, at_most, source, of_the_day, lever.
    """
    summary, description = _entry(text)
    return Quantity("", unit, summary, description, usual=_usual(usual), **said)


def given_table(columns: tuple[str, ...], text: str) -> Any:
    """Declare a table that the study gives as a CSV file with these columns (SI units inside).

    The function that needs it receives an ``explorer.graph.tables.LookupTable``.
    """
    return given("1", text, table=columns)


def quantity(
    unit: str,
    *,
    source: str,
    varying: Mapping[str, str | tuple[str, ...]] | None = None,
    fails: str = "",
    capped_by: str | None = None,
    of_the_day: bool = False,
    usual: Usual | str | None = None,
    lever: str = "",
    default: float | None = None,
) -> Callable[[Function], Function]:
    """Declare that the decorated function computes the quantity of its own name.

    Parameters
    ----------
    unit:
        SI unit of the result, as text; "1" for a named tuple.
    source:
        The equation, clause or book behind the formula; "definition" where it only picks, adds or compares.
    varying:
        Parameters wanted as functions, with the quantity or quantities they are functions of.
    fails:
        What NaN means, in words for the report.
    capped_by:
        Name of the input at which a search stops and reports "not reached".
    of_the_day:
        Whether a study that gives it instead means another value in every run.
    usual:
        What it usually is, where a study may well give it instead.
    lever:
        A sensible step of it, where a builder sets what a study then gives.
    default:
        Value that stands for it where a study says neither it nor that it is to follow.

    Raises
    ------
    GraphError
        When the function has no docstring, or a parameter with a default or a star.
    """
    over = {
        name: (names,) if isinstance(names, str) else tuple(names) for name, names in (varying or {}).items()
    }

    def declare(function: Function) -> Function:
        parameters = inspect.signature(function).parameters.values()
        name = function.__name__
        if not function.__doc__:
            raise GraphError("a quantity needs a docstring: it is its handbook entry", key=name)
        if any(p.kind is not p.POSITIONAL_OR_KEYWORD or p.default is not p.empty for p in parameters):
            raise GraphError("a quantity's parameters are plain names without defaults", key=name)
        stray = set(over) - {p.name for p in parameters}
        if stray:
            raise GraphError(f"varying names no parameter: {', '.join(sorted(stray))}", key=name)
        summary, description = _entry(function.__doc__)
        declared = Quantity(
            name=name,
            unit=unit,
            summary=summary,
            description=description,
            source=source,
            needs=tuple(Need((p.name,), over=over.get(p.name, ())) for p in parameters),
            function=function,
            fails=fails,
            capped_by=capped_by,
            of_the_day=of_the_day,
            subject=function.__module__.rpartition(".")[2],
            usual=_usual(usual),
            lever=lever,
            default=default,
        )
        function.__quantity__ = _with_parts(declared, function)  # type: ignore[attr-defined]
        return function

    return declare


def _usual(said: Usual | str | None) -> Usual | None:
    """Read a usual range from its words."""
    if not isinstance(said, str):
        return said
    span, _, typical = said.partition(", typically ")
    low, _, end = span.partition(" to ")
    unit = end.partition(" ")[2]
    return Usual(f"{low} {unit}".strip(), f"{typical} {unit}".strip() if typical else None, end)


def _entry(text: str) -> tuple[str, str]:
    """Split a handbook entry into its first sentence, on one line, and the rest."""
    summary, _, description = inspect.cleandoc(text).partition("\n\n")
    return " ".join(summary.split()), description.strip()


def _with_parts(whole: Quantity, function: Callable[..., Any]) -> Quantity:
    """Return the entry with the quantities that the function returns as fields of a named tuple."""
    kind = function.__annotations__.get("return")
    kind = function.__globals__.get(kind) if isinstance(kind, str) else kind
    if not (isinstance(kind, type) and issubclass(kind, tuple)):
        return whole
    hints = get_type_hints(kind, include_extras=True)
    parts = []
    for name in getattr(kind, "_fields", ()):
        for part in (one for one in getattr(hints[name], "__metadata__", ()) if isinstance(one, Part)):
            summary, description = _entry(part.text)
            parts.append(
                replace(
                    whole,
                    name=name,
                    unit=part.unit,
                    summary=summary,
                    description=description,
                    needs=(Need((whole.name,)),),
                    function=attrgetter(name),
                    fails=part.fails or whole.fails,
                )
            )
    return replace(whole, record=True, parts=tuple(parts))


def _on_axles(entry: Quantity) -> list[Quantity]:
    """Return what is declared for each axle once for the front and once for the rear, all else as it is."""
    if not entry.name.startswith("axle_"):
        return [entry]
    return [
        replace(
            entry,
            name=entry.name.replace("axle_", f"{axle}_", 1),
            needs=tuple(
                replace(need, names=tuple(re.sub("^axle_", f"{axle}_", name) for name in need.names))
                for need in entry.needs
            ),
            summary=entry.summary.replace("{axle}", axle),
            description=entry.description.replace("{axle}", axle),
        )
        for axle in AXLES
    ]


def quantities_of(module: Any) -> list[Quantity]:
    """List what a module (or any namespace) declares, in the order written, each axle's apart."""
    found = []
    for name, value in vars(module).items():
        declared = getattr(value, "__quantity__", None)
        # A function imported from another model file belongs to that file.
        if declared is not None and value.__module__ == module.__name__:
            found += [declared, *declared.parts]
        elif isinstance(value, Quantity):
            found.append(replace(value, name=name, subject=module.__name__.rpartition(".")[2]))
    return [one for entry in found for one in _on_axles(entry)]
