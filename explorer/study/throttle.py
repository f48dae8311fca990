"""How the car is driven in a condition: coasting, holding its speed, or at full throttle.

It decides the acceleration along the track, and with that what the axles carry.  Holding its speed a car has
none; at full throttle it has what the push leaves; coasting is that with no push.  A study that gives the
acceleration itself says no throttle.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping
from typing import TYPE_CHECKING

from explorer.errors import StudyError
from explorer.graph.graph import Graph
from explorer.study.distributions import Exact
from explorer.study.inputs import Input

if TYPE_CHECKING:
    from explorer.study.limits import Output
    from explorer.study.study import Study

#: What the throttle decides, and the push that a coasting car has none of.
ACCELERATION, PUSH = "longitudinal_acceleration", "driving_force"
#: Where the study gives the acceleration, in place of a throttle.
GIVEN = "given"
#: Each throttle as it is said of a figure that hangs on it.
WORDS: Mapping[str, str] = {
    "holding": "at held speed",
    "full": "at full throttle",
    "coasting": "coasting",
    GIVEN: "at the given acceleration",
}
#: What each throttle decides; a speed that is held is an acceleration that may be given instead.
DECIDES: Mapping[str, tuple[str, ...]] = {"full": (ACCELERATION,), "coasting": (ACCELERATION, PUSH)}
#: What the drive of a coasting car gives.
NO_PUSH = Input(PUSH, PUSH, Exact(0.0), "N", "the car coasts")


def refuse_both(condition: str, throttle: str | None, own: Collection[str], common: Collection[str]) -> None:
    """Refuse a throttle beside what it decides.

    Parameters
    ----------
    condition, throttle:
        The condition, and the throttle that it says itself.
    own, common:
        What it gives itself, and what the study gives in every condition.

    Raises
    ------
    StudyError
    """
    decided = () if throttle is None else DECIDES.get(throttle, (ACCELERATION,))
    for given, where in ((own, f"conditions.{condition}"), (common, "inputs")):
        for name in decided:
            if name in given:
                raise StudyError(
                    f"the throttle decides {name}, which is given too",
                    key=f"conditions.{condition}.throttle",
                    found=f'throttle = "{throttle}" and {where}.{name}',
                    allowed="one of the two",
                    remedy=f"take out throttle, or {name} where it stands",
                )


def refuse_decided(study: Study, quantity: str, conditions: Iterable[str], key: str) -> None:
    """Refuse a value from outside a condition for what its throttle decides.

    Raises
    ------
    StudyError
        When one of the conditions would not use it.
    """
    for name in conditions:
        throttle = study.conditions[name].throttle
        if quantity in DECIDES.get(throttle, ()):
            raise StudyError(
                "a condition's throttle decides this quantity, so that no other value would be used there",
                key=key,
                found=f'{quantity}, and throttle = "{throttle}" in [conditions.{name}]',
                remedy="give it in a condition of its own that says no throttle, "
                f"or take throttle out of [conditions.{name}]",
            )


def check_throttle(study: Study, quantity: str, condition: str, key: str) -> None:
    """Refuse a quantity in a condition whose throttle it makes no sense in.

    Raises
    ------
    StudyError
        When it is of a drive that coasts, or of a run at a speed that is held.
    """
    throttle = study.conditions[condition].throttle
    given = study.given_names(condition)
    if throttle == "holding" and "least_front_load" in study.graph.upstream([quantity], given):
        raise StudyError(
            "this quantity is of a run, and the condition holds its speed",
            key=key,
            found=f"{quantity} in condition {condition}",
            remedy='say throttle = "full" for a car that gains speed, in this condition or in a new one with '
            f'like = "{condition}", or ask for front_axle_load at the speed that is held',
        )
    pushed = {PUSH, "wheel_force"} & study.graph.upstream([quantity], given - {PUSH} | {ACCELERATION})
    if throttle == "coasting" and pushed:
        raise StudyError(
            "this quantity is of a car that is driven, and in the condition it coasts",
            key=key,
            found=f"{quantity} in condition {condition}",
            remedy=f"ask for it in another condition, or take throttle out of [conditions.{condition}]",
        )


def throttle_words(study: Study, output: Output) -> str:
    """Say how the car is driven in what is looked at; nothing where that does not change it."""
    words = [
        WORDS[study.conditions[where].throttle]
        for quantity, where in output.pairs
        if hangs_on_throttle(study.graph, quantity, study.given_names(where))
    ]
    return " minus ".join(dict.fromkeys(words))


def with_throttle(words: str, throttle: str) -> str:
    """Add how the car is driven, unless that changes nothing or is said already."""
    return words if not throttle or throttle in words else f"{words}, {throttle}"


def hangs_on_throttle(graph: Graph, quantity: str, given: Collection[str]) -> bool:
    """Tell whether a quantity is another one at another acceleration."""
    return ACCELERATION in graph.upstream([quantity], given)
