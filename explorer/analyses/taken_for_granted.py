"""What a study leaves unsaid where it decides, such as its brakes, and what it says where nothing does."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping

from explorer.analyses.nominal import Nominal
from explorer.analyses.odd_builds import odd_builds
from explorer.analyses.odd_combinations import odd_inputs
from explorer.analyses.read_by_nothing import read_by_nothing
from explorer.analyses.room import out_of_room
from explorer.graph.quantity import AXLES, asked_name
from explorer.graph.words import Number, Sentence, told
from explorer.graph.written import listed
from explorer.study.asked_for import wanted_outputs
from explorer.study.study import Study
from explorer.study.throttle import WORDS

# Of what is asked, these know how long the strip is, or ask for it.
_ROOM = ("strip_run", "run_with_flap", "top_speed_room")

# What passes before brakes and fail-safe act; each is none where nothing is said.
_DELAYS = ("reaction_time", "radio_delay", "fail_safe_hold")
# What says where the wheels hop on their tyres; each is out of reach where nothing is said.
_HOP = tuple(f"{axle}_{what}" for what in ("unsprung_mass", "tyre_stiffness") for axle in AXLES)
# What the ground gives a splitter hangs on both.
_GAP = ("splitter_gap_at_rest", "splitter_reference_gap")
# What a servo's supply leaves it; each is taken to lose nothing where nothing is said.
_SUPPLY = {
    "servo_supply_share": "1, the voltage of the servo's data sheet",
    "servo_supply_sag": "0, as if supply and leads lost nothing while the servo pulls",
}
# What disturbs a car, and what the wake takes from it; each is none where nothing is said.
_DISTURBING = ("side_wind", "bump_height", "bump_pitch", "gust")
# What the road would carry of a car that stands on a point.
_CARRIED = {"contact_load", "front_contact_load", "rear_contact_load", "scraping_force"}
_WAKE = ("wake_loss_front", "wake_loss_rear")
# Front loads that hang on how the car is driven.
_FRONT = {"front_axle_load", "front_load_kept", "front_lift_off_speed", "lowest_front_load"}


def taken_for_granted(study: Study, nominal: Nominal) -> Iterator[Sentence]:
    """Yield a caution for each thing that the study is silent about though what it asks hangs on it.

    Parameters
    ----------
    nominal:
        Condition -> quantity -> value with all inputs at their nominal values.
    """
    own = [*odd_inputs(study), *out_of_room(study, nominal)]
    yield from own
    yield from odd_builds(study, own)
    yield from read_by_nothing(study)
    asked = _asked_for(study)
    braked = _hanging_on("brake_push", asked)
    if braked and "brakes" not in study.entries.models:
        yield (
            f"no brakes are described, and {braked} {_verb(braked, 'take')} them as ideal, both axles at the "
            'limit of their grip at once; say which the car has, as in [models] brakes = "fitted", "balance" '
            'or "none"'
        )
    spun = _hanging_on("rotating_mass_factor", asked)
    if spun and study.inputs["rotating_mass_factor"].default:
        yield (
            f"rotating_mass_factor is left at 1.05, which is judgement, and {spun} {_verb(spun, 'hang')} on "
            "what wheels and motor take to spin up; give it under [inputs] from their weights"
        )
    needed = frozenset[str]().union(*asked.values())
    for limited, driven in _judged_without_push(study, asked):
        yield (
            f"the limit on {limited} is for a car {driven}; one that is gaining speed carries less "
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
            f"{listed(delays)} left at 0 s, as if no time passed before anything acts, and {braked} "
            f"{_verb(braked, 'hang')} on that; give {'it' if len(delays) == 1 else 'each'} under [inputs]"
        )
    bumped = [where for where in study.conditions if not study.given_in(where)["bump_height"].default]
    hop = [name for name in _HOP if study.inputs[name].default]
    if hop and bumped and (followed := _hanging_on("followed_time", asked)):
        yield (
            f"{followed} {'are' if ', ' in followed else 'is'} of wheels without mass, though a bump may "
            "make them hop on their tyres, off the road for up to twice as long: give "
            f"{', '.join(hop)} under [inputs], and a caution names bumps near wheel hop"
        )
    at_once = _opening_at_once(study)
    if at_once:
        yield (
            "flap_delay left at 0 s, as if the flap opened as the run begins, where it may cost the rear "
            f"tyres their grip, and {at_once} {_verb(at_once, 'hang')} on that; give it under [inputs]"
        )
    yield from _beyond_the_cap(study)
    yield from _undisturbed(study)
    for entry in study.entries.limits:
        if "standing_counts" in entry.model_fields_set and not entry.safety:
            yield (
                f"standing_counts in the limit on {entry.quantity} in {entry.condition} changes nothing: "
                "without safety = true a car on a point meets it as any other; add that, or take it out"
            )
    if "points_carry" not in study.graph:
        yield from _nothing_carries(study, nominal)
    moved = _hanging_on("servo_available_torque", asked)
    supply = [name for name in _SUPPLY if study.inputs[name].default]
    if moved and supply:
        yield (
            f"{listed([f'{name} is left at {_SUPPLY[name]}' for name in supply])}, and {moved} "
            f"{_verb(moved, 'hang')} on what its supply leaves it under load; give "
            f"{'it' if len(supply) == 1 else 'each'} under [inputs]"
        )
    gap = [name for name in _GAP if study.inputs[name].default and _hanging_on(name, asked)]
    if gap and not study.inputs["splitter_ground_gain"].default:
        yield (
            f"{listed(gap)} left at 10 mm, which is no measure of this car, and splitter_ground_gain "
            f"makes its downforce hang on that; give {'it' if len(gap) == 1 else 'each'} under [inputs]"
        )
    if any(limit.sure is not None for limit in study.limits):
        from explorer.analyses.two_levels import beyond_showing  # takes its time to load

        for limit, kind, drawn, enough in beyond_showing(study):
            yield (
                f"{limit.name} cannot pass: {drawn} {kind} are too few to show what it asks, however well it "
                f"is met; write {kind} = {enough} under [study]"
            )


def _judged_without_push(study: Study, asked: Mapping[str, frozenset[str]]) -> Iterator[tuple[str, str]]:
    """Yield front loads limited without any push, and how the car goes there, where the study has a drive."""
    throttles: dict[str, set[str]] = {}
    for limit in study.limits:
        for quantity, where in limit.output.pairs:
            if asked_name(quantity) in _FRONT:
                throttles.setdefault(study.conditions[where].throttle, set()).add(asked_name(quantity))
    if "full" not in throttles and _hanging_on("driving_force", asked):
        for throttle in ("holding", "coasting"):
            if throttle in throttles:
                yield " and ".join(sorted(throttles[throttle])), WORDS[throttle]


def _opening_at_once(study: Study) -> str:
    """Name what is asked for of runs whose flap opens as they begin since nothing says when."""
    found: dict[str, None] = {}
    for name, where in wanted_outputs(study):
        given = study.given_in(where)
        needed = study.graph.upstream([name], study.given_names(where))
        opens = "strip_run" in needed and given["flap_opening"].distribution.nominal > 0
        if given["flap_delay"].default and (opens or "run_with_flap" in needed):
            found[asked_name(name)] = None
    return ", ".join(found)


def _beyond_the_cap(study: Study) -> Iterator[Sentence]:
    """Yield a caution for each limit with its bound beyond the end of the search for its quantity."""
    for limit in study.limits:
        quantity, where = study.graph[limit.output.quantity], limit.output.condition
        if not quantity.capped_by or limit.output.is_difference:
            continue
        cap = study.given_in(where)[quantity.capped_by]
        end = float(cap.distribution.nominal)
        for bound, told_of in ((limit.low, "no car can meet it"), (limit.high, "any car there meets it")):
            if end < bound < math.inf:
                yield told(
                    f"the limit on {asked_name(quantity.name)} in {where} is at {{}}, and the search for it "
                    f"ends at {quantity.capped_by}, {{}}: {told_of}; give a higher {quantity.capped_by} "
                    "under [inputs], or another bound",
                    Number(bound, unit=quantity.unit, display_unit=limit.display_unit),
                    Number(end, unit=quantity.unit, display_unit=limit.display_unit),
                )


def _undisturbed(study: Study) -> Iterator[str]:
    """Yield a caution for limits on what a disturbance does, in conditions that give none."""
    found: dict[tuple[str, tuple[str, ...]], dict[str, None]] = {}
    for limit in study.limits:
        left: dict[str, None] = {}
        for quantity, where in limit.output.pairs:
            needed, given = study.graph.upstream([quantity], study.given_names(where)), study.given_in(where)
            names = _WAKE if asked_name(quantity).startswith("wake_") else _DISTURBING
            read = [name for name in names if name in needed]
            if not all(given[name].default for name in read):
                break
            left |= dict.fromkeys(read)
        else:
            if left:
                where = limit.output.condition
                found.setdefault((where, tuple(left)), {})[asked_name(limit.output.quantity)] = None
    for (where, inputs), limited in found.items():
        yield (
            f"the limit on {listed(limited)} in {where} is for a car that nothing disturbs: "
            f"{listed(inputs)} {'is' if len(inputs) == 1 else 'are'} left at 0; give "
            f"{'it' if len(inputs) == 1 else 'what there is of it'} under [conditions.{where}]"
        )


def clearances(study: Study, condition: str) -> list[str]:
    """List the clearances of named points that are known in a condition, where no point carries load."""
    names = [] if "points_carry" in study.graph else study.graph.of_family("point_clearance")
    given = study.given_names(condition)
    return [name for name in names if not study.graph.missing([name], given)]


def _nothing_carries(study: Study, nominal: Nominal) -> Iterator[Sentence]:
    """Yield a caution for points that sink into the road, and for limits on what would carry them."""
    limited = {asked_name(name) for limit in study.limits for name, _ in limit.output.pairs} & _CARRIED
    if limited:
        yield (
            f"the limit on {listed(sorted(limited))} is met by any car, since the road carries no point; "
            'write contact = "points" under [models], or take the limit out'
        )
    for name in study.graph.of_family("point_clearance"):
        sunk = {where: low for where, values in nominal.items() if (low := values.get(name) or 0.0) < 0}
        if sunk:
            worst, *more = sorted(sunk, key=sunk.__getitem__)
            yield told(
                f"{name.removesuffix('_clearance')} of the nominal car is {{}} inside the road in {worst}"
                f"{f', and inside it in {listed(more)}' if more else ''}, where nothing carries it: loads, "
                'speeds and braking are there of a car that sinks in; write contact = "points" under '
                "[models], or give it more clearance",
                Number(-sunk[worst], unit="m", display_unit="mm"),
            )


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


def _verb(names: str, verb: str) -> str:
    return verb if ", " in names else f"{verb}s"
