"""The graph of quantities: who needs whom, and what has to be given.

Built once from the model files; families are expanded, names are checked, and every question about what lies
upstream is answered here.  Nothing is evaluated: see ``explorer.graph.program``.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass, field, replace
from functools import cached_property, lru_cache
from typing import Any, TypeAlias

from explorer.errors import (
    CycleError,
    DoublyDefinedError,
    GraphError,
    MissingInputError,
    UnknownQuantityError,
    did_you_mean,
)
from explorer.graph.quantity import FAMILIES, Need, Quantity, quantities_of

_LISTED = "'squatline explain --all' lists every quantity"
# A quantity and the names bound on the way to it -> all that it needs: asked often while a study is read.
# A name bound otherwise is another place: what hangs on an acceleration may be asked for at one that is
# tried, to find the acceleration.
Place: TypeAlias = tuple[str, frozenset[str]]
Needed: TypeAlias = dict[Place, frozenset[str]]


@dataclass(frozen=True)
class Graph:
    """All quantities by name, after families were expanded.

    Attributes
    ----------
    quantities:
        Every quantity that can be computed or given.
    families:
        Members declared for each family, in order.
    """

    quantities: Mapping[str, Quantity]
    families: Mapping[str, tuple[str, ...]]
    _needed: dict[frozenset[str], Needed] = field(default_factory=dict, init=False, repr=False, compare=False)

    @classmethod
    def build(cls, modules: Iterable[Any], families: Mapping[str, tuple[str, ...]] | None = None) -> Graph:
        """Collect the quantities of some modules and expand the families.

        Raises
        ------
        DoublyDefinedError
            When two modules define the same name.
        GraphError
            When a quantity needs a name nobody defines, or a family member's name is not a plain one.
        CycleError
            When a quantity needs itself.
        """
        members = {family: tuple(names) for family, names in (families or {}).items()}
        return cls(_checked(tuple(modules), tuple(members.items())), members)

    def _check(self) -> None:
        for entry in self.quantities.values():
            for name in (*entry.needed_names, *(o for need in entry.needs for o in need.over)):
                if name not in self.quantities:
                    raise GraphError(
                        f"needs {name!r}, which no model defines",
                        key=entry.name,
                        remedy=did_you_mean(name, self.quantities, _LISTED),
                    )
        self.upstream(self.quantities, given=())

    def __getitem__(self, name: str) -> Quantity:
        try:
            return self.quantities[name]
        except KeyError:
            raise UnknownQuantityError(
                f"no quantity is called {name!r}",
                found=name,
                remedy=did_you_mean(name, self.quantities, _LISTED),
            ) from None

    def __contains__(self, name: object) -> bool:
        return name in self.quantities

    def of_family(self, name: str) -> tuple[str, ...]:
        """Return the quantities of all members that a name of their family stands for.

        So element_chord stands for top_chord and low_chord of the members top and low.  Empty where the name
        is a quantity itself, or stands for none.
        """
        family, _, rest = name.partition("_")
        if name in self or family not in self.families:
            return ()
        return tuple(one for member in self.families[family] if (one := f"{member}_{rest}") in self)

    def member_of(self, name: str) -> tuple[str, int] | None:
        """Return the family that a quantity is repeated for, and the place of its member; None for others."""
        for family, members in self.families.items():
            for place, member in enumerate(members):
                if name.startswith(f"{member}_") and name in self.of_family(family + name[len(member) :]):
                    return family, place
        return None

    def upstream(self, targets: Iterable[str], given: Collection[str]) -> frozenset[str]:
        """Return everything the targets need, themselves included.

        The walk stops at what is given.  A name bound by ``varying`` is not needed through that parameter.
        """
        given, none = frozenset(given), frozenset[str]()
        known = self._needed.setdefault(given, {})
        return none.union(*(self._walked(target, given, none, known, {}) for target in targets))

    def _walked(
        self, name: str, given: frozenset[str], bound: frozenset[str], known: Needed, path: dict[Place, None]
    ) -> frozenset[str]:
        if name in bound:
            return frozenset()
        place = (name, bound)
        if place not in known:
            if place in path:
                raise _cycle([one for one, _ in path], name)
            path[place] = None
            needs = () if name in given else self[name].needs
            known[place] = frozenset((name,)).union(
                *(
                    self._walked(one, given, bound.union(need.over) if need.over else bound, known, path)
                    for need in needs
                    for one in need.names
                )
            )
            del path[place]
        return known[place]

    @cached_property
    def _given(self) -> frozenset[str]:
        return frozenset(name for name, entry in self.quantities.items() if entry.is_given)

    def inputs_of(self, target: str, given: Collection[str]) -> frozenset[str]:
        """Return the given quantities, defaults included, whose value can change the target."""
        return self.upstream((target,), given) & self._given.union(given)

    def missing(self, targets: Iterable[str], given: Collection[str]) -> dict[str, tuple[str, ...]]:
        """Map every input that is neither given nor has a default to the targets that need it."""
        wanted: dict[str, list[str]] = {}
        given = frozenset(given)
        for target in targets:
            for name in sorted(self.inputs_of(target, given) - given):
                if self[name].default is None:
                    wanted.setdefault(name, []).append(target)
        return {name: tuple(names) for name, names in wanted.items()}

    def require(self, targets: Iterable[str], given: Collection[str]) -> None:
        """Raise MissingInputError when some target cannot be computed from what is given."""
        self.refuse(self.missing(targets, given))

    def refuse(self, missing: Mapping[str, Iterable[str]]) -> None:
        """Raise MissingInputError for inputs that are missing, each with what it is needed for."""
        if missing:
            lines = [
                f"{name} [{self[name].unit}], needed for {', '.join(sorted(set(needed_for))[:3])}"
                for name, needed_for in missing.items()
            ]
            raise MissingInputError(
                f"{len(missing)} input{'s are' if len(missing) > 1 else ' is'} missing",
                key="inputs",
                found="; ".join(lines),
                allowed="every input that an asked-for quantity needs, or that quantity itself",
                remedy="add each under [inputs] with a value, its unit and its source; "
                "'squatline explain NAME' says what it means",
            )


# A desk reads its study after every change, and the models seldom change with it.
@lru_cache(maxsize=8)
def _checked(
    modules: tuple[Any, ...], families: tuple[tuple[str, tuple[str, ...]], ...]
) -> Mapping[str, Quantity]:
    """Collect the quantities of some modules, expand the families, and check every name."""
    members = dict(families)
    quantities = _expanded([entry for module in modules for entry in quantities_of(module)], members)
    Graph(quantities, members)._check()
    return quantities


def _expanded(declared: list[Quantity], families: Mapping[str, tuple[str, ...]]) -> dict[str, Quantity]:
    """Repeat per-family quantities for each member, and turn needs for a whole family into stacks."""
    templates = {
        entry.name: family for entry in declared for family in FAMILIES if entry.name.startswith(f"{family}_")
    }
    result: dict[str, Quantity] = {}
    left_out: set[str] = set()
    for entry in declared:
        copies = _copies(entry, families, templates) if entry.name in templates else [entry]
        for copy in copies:
            stacked = replace(copy, needs=tuple(_stacked(need, families, templates) for need in copy.needs))
            if any(not need.names for need in stacked.needs):
                left_out.add(copy.name)  # it gathers a family that has no member in this study
                continue
            if copy.name in result:
                raise DoublyDefinedError(
                    "two functions compute the same quantity",
                    key=copy.name,
                    found=f"{result[copy.name].subject} and {copy.subject}",
                    remedy="rename one of them, or give the quantity in the study instead",
                )
            result[copy.name] = stacked
    return _without_orphans(result, left_out)


def _without_orphans(quantities: dict[str, Quantity], left_out: set[str]) -> dict[str, Quantity]:
    """Drop what builds on a quantity that was left out because its family is empty."""
    while True:
        kept = {name: entry for name, entry in quantities.items() if left_out.isdisjoint(entry.needed_names)}
        if len(kept) == len(quantities):
            return kept
        left_out = left_out | (set(quantities) - set(kept))
        quantities = kept


def _copies(
    entry: Quantity, families: Mapping[str, tuple[str, ...]], templates: Mapping[str, str]
) -> list[Quantity]:
    family = templates[entry.name]

    def renamed(name: str, member: str) -> str:
        return member + name.removeprefix(family) if templates.get(name) == family else name

    return [
        replace(
            entry,
            name=renamed(entry.name, member),
            needs=tuple(
                replace(
                    need,
                    names=tuple(renamed(n, member) for n in need.names),
                    over=tuple(renamed(n, member) for n in need.over),
                )
                for need in entry.needs
            ),
            capped_by=renamed(entry.capped_by, member) if entry.capped_by else None,
        )
        for member in families.get(family, ())
    ]


def _stacked(need: Need, families: Mapping[str, tuple[str, ...]], templates: Mapping[str, str]) -> Need:
    family = templates.get(need.names[0])
    if family is None:
        return need
    members = families.get(family, ())
    names = tuple(member + need.names[0].removeprefix(family) for member in members)
    return replace(need, names=names, stacked=True)


def _cycle(path: list[str], name: str) -> CycleError:
    circle = [*path[path.index(name) :], name]
    return CycleError(
        "a quantity needs itself",
        key=name,
        found=" -> ".join(circle),
        remedy="give one of these quantities in the study, or break the circle in the model",
    )
