"""What a study leaves unsaid where it decides: brakes, throttle, rotating masses, when the brakes act."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import replace

from explorer.analyses.odd_combinations import number_of, odd_combinations
from explorer.graph.quantity import Quantity, asked_name
from explorer.graph.units import from_si, to_si, written_in
from explorer.graph.words import Number, Sentence, told
from explorer.study.study import Input, Study, wanted_outputs

# What a wrong unit or a slipped point makes of a value.
_SLIPS = (1e-3, 1e3, 0.1, 10.0, 1e-2, 1e2)

# Of what is asked, these know how long the strip is, or ask for it.
_ROOM = ("strip_run", "run_with_flap", "top_speed_room")

# What passes before brakes and fail-safe act; each is none where nothing is said.
_DELAYS = ("reaction_time", "radio_delay", "fail_safe_hold")
# Front loads that hang on how the car is driven.
_FRONT = {"front_axle_load", "front_load_kept", "front_lift_off_speed", "lowest_front_load"}

Nominal = Mapping[str, Mapping[str, float | None]]


def taken_for_granted(study: Study, nominal: Nominal) -> Iterator[Sentence]:
    """Yield a caution for each thing that the study is silent about though what it asks hangs on it.

    Parameters
    ----------
    nominal:
        Condition -> quantity -> value with all inputs at their nominal values.

    """
    yield from odd_inputs(study)
    asked = _asked_for(study)
    braked = _hanging_on("brake_push", asked)
    if braked and "brakes" not in study.entries.models:
        yield (
            f"no brakes are described, and {braked} takes them as ideal, both axles at the limit of their "
            'grip at once; say which the car has, as in [models] brakes = "fitted", "balance" or "none"'
        )
    spun = _hanging_on("rotating_mass_factor", asked)
    if spun and study.inputs["rotating_mass_factor"].default:
        yield (
            f"rotating_mass_factor is left at 1.05, which is judgement, and {spun} hangs on what wheels and "
            "motor take to spin up; give it under [inputs] from their weights"
        )
    needed = frozenset[str]().union(*asked.values())
    held = _judged_at_held_speed(study, asked)
    if held:
        yield (
            f"the limit on {held} is for a car that holds its speed; one that is gaining speed carries less "
            'at the front: limit it as well in a condition with throttle = "full"'
        )
    fast = {limit.output.quantity for limit in study.limits} & {"top_speed"}
    if fast and not any(map(needed.__contains__, _ROOM)):
        yield (
            "the limit on top_speed is for a strip without end; give strip_length under [inputs] and limit "
            "strip_speed, or ask for top_speed_room, the room that it takes to get there"
        )
    delays = [name for name in _DELAYS if study.inputs[name].default and _hanging_on(name, asked)]
    if delays:
        braked = ", ".join(dict.fromkeys(_hanging_on(name, asked) for name in delays))
        yield (
            f"{' and '.join(delays)} left at 0 s, as if no time passed before anything acts, and {braked} "
            f"hangs on that; give {'it' if len(delays) == 1 else 'each'} under [inputs]"
        )
    if any(limit.sure is not None for limit in study.limits):
        from explorer.analyses.two_levels import beyond_showing  # takes its time to load

        for limit, kind, drawn, enough in beyond_showing(study):
            yield (
                f"{limit.name} cannot pass: {drawn} {kind} are too few to show what it asks, however well it "
                f"is met; write {kind} = {enough} under [study]"
            )
    ways = [(values.get("reaction_distance"), values.get("fence_distance")) for values in nominal.values()]
    near = [(gone, fence) for gone, fence in ways if gone and fence and fence <= gone]
    if near:
        gone, room = (Number(way, unit="m", display_unit="m") for way in max(near))
        yield told(
            "fence_distance is {}, and before the brakes act the car goes up to {} (speed, reaction_time and "
            "radio_delay of the conditions): nothing the driver does stops it there; move the fence or take "
            "speed off",
            room,
            gone,
        )


def odd_inputs(study: Study) -> list[Sentence]:
    """Return a caution for each input that is odd by itself or beside others, with the likely slip."""
    alone = _outside_usual(study)
    return [*alone.values(), *odd_combinations(study, alone)]


def _outside_usual(study: Study) -> dict[str, Sentence]:
    cautions = {one.key: odd_by_itself(study.graph[one.quantity], one) for one in study.all_inputs()}
    return {key: words for key, words in cautions.items() if words}


def odd_by_itself(quantity: Quantity, given: Input) -> Sentence:
    """Return a caution for an input that is outside what is usual, with the likely slip; else nothing."""
    usual, value = quantity.usual, given.distribution.nominal
    if usual is None or given.default:
        return ()
    low, high = (number_of(text, quantity.unit) for text in (usual.low, usual.high))
    # Nothing at all is a choice: a car without the part, or one that stands.
    if low.value <= value <= high.value or value == 0 == quantity.at_least:
        return ()
    number = Number(float(value), unit=quantity.unit, display_unit=given.display_unit)
    words = f"{given.key} is {{}}, where {{}} to {{}} is usual of such cars ({usual.source})"
    meant = _meant(number, low.value, high.value)
    return told(words, number, low, high) + (told("; did you mean {}?", meant) if meant else ())


def _meant(given: Number, low: float, high: float) -> Number | None:
    """Return the same number with another sign, in another unit or with another point, if that is usual."""
    if low <= -given.value <= high:
        return replace(given, value=-given.value)
    typed = from_si(given.value, given.display_unit)
    for other in written_in(given.unit):
        if other != given.display_unit and low <= to_si(typed, other, given.unit) <= high:
            return Number(float(to_si(typed, other, given.unit)), unit=given.unit, display_unit=other)
    slip = next((by for by in _SLIPS if low <= given.value * by <= high), None)
    return replace(given, value=given.value * slip) if slip else None


def _judged_at_held_speed(study: Study, asked: Mapping[str, frozenset[str]]) -> str:
    """Name the front loads limited at held speeds alone, where the study has a drive."""
    throttles: dict[str, set[str]] = {}
    for limit in study.limits:
        for quantity, where in limit.output.pairs:
            if asked_name(quantity) in _FRONT:
                throttles.setdefault(study.conditions[where].throttle, set()).add(asked_name(quantity))
    if "full" in throttles or not _hanging_on("driving_force", asked):
        return ""
    return " and ".join(sorted(throttles.get("holding", ())))


def _asked_for(study: Study) -> dict[str, frozenset[str]]:
    """Map every quantity asked for to all it needs, in the conditions it is asked for in."""
    pairs = {*wanted_outputs(study)}
    pairs |= {
        (name, where) for sweep in study.sweeps for name in sweep.quantities for where in sweep.conditions
    }
    found: dict[str, frozenset[str]] = {}
    for name, condition in sorted(pairs):
        needed = study.graph.upstream([name], study.given_names(condition))
        found[name] = found.get(name, frozenset()) | needed
    return found


def _hanging_on(name: str, asked: Mapping[str, frozenset[str]]) -> str:
    """Name the quantities asked for that need one, as text."""
    return ", ".join(quantity for quantity, needed in asked.items() if name in needed)
