"""What a study leaves unsaid where it decides is told, and only there."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from explorer.analyses.nominal import nominal_values
from explorer.analyses.odd import asked_at_nominal
from explorer.analyses.room import out_of_room
from explorer.analyses.taken_for_granted import taken_for_granted
from explorer.errors import MissingInputError
from explorer.graph.words import in_unit
from explorer.study.study import Study, load_study
from explorer.study.template import CarHas, template

SAID = {
    "brakes": 'brakes = "fitted"',
    "rotating": "rotating_mass_factor = 1.05",
    "force": "friction_brake_force = '60 N'\nbrake_balance_front = 0.6\nmotor_brake_force = '0 N'",
    "delays": "reaction_time = '0.4 s'\nradio_delay = '0.02 s'",
}


def said(study: Study) -> list[str]:
    return [in_unit(one) for one in taken_for_granted(study, asked_at_nominal(study))]


def _cautions(folder: Path, asked: str, inputs: str = "", models: str = "") -> list[str]:
    text = template(CarHas())
    text = re.sub(
        r"(?m)^(brakes|rotating_mass_factor|friction_brake_force|brake_balance_front) = .*\n", "", text
    )
    # What asks for a strip by itself, or hangs on rotating masses at full throttle.
    text = re.sub(r'\[\[limits\]\]\nname = "(Front wheels stay|Fast|Opening)(?s:.*?)\n\n', "", text)
    text = text.replace('"top_speed_room", ', "")
    text = text.replace("[inputs]\n", f"[inputs]\n{inputs}\n", 1).replace(
        "[models]\n", f"[models]\n{models}\n", 1
    )
    text += f'\n[[outputs]]\nquantities = ["{asked}"]\nconditions = ["closed"]\n'
    (folder / "study.toml").write_text(text, encoding="utf-8")
    study = load_study(folder)
    return said(study)


def test_brakes_that_nobody_described(tmp_path: Path) -> None:
    """The caution names what hangs on them and what to write."""
    brakes, rotating, _ = _cautions(tmp_path, "stopping_distance")
    assert "stopping_distance" in brakes
    assert 'brakes = "fitted"' in brakes
    assert "rotating_mass_factor" in rotating


def test_what_was_said_is_not_told_again(tmp_path: Path) -> None:
    found = _cautions(
        tmp_path,
        "stopping_distance",
        "\n".join(SAID[word] for word in ("rotating", "force", "delays")),
        models=SAID["brakes"],
    )
    assert found == []


@pytest.mark.parametrize("asked", ["top_speed", "pitch", "kinetic_energy"])
def test_where_it_decides_nothing_it_is_left_unsaid(tmp_path: Path, asked: str) -> None:
    assert _cautions(tmp_path, asked) == []


def test_a_run_out_hangs_on_rotating_masses_but_on_no_brakes(tmp_path: Path) -> None:
    masses, delay = _cautions(tmp_path, "run_out_distance")
    assert "rotating_mass_factor" in masses
    assert "fail_safe_hold left at 0 s" in delay
    assert "run_out_distance hangs on that" in delay
    (alone,) = _cautions(tmp_path, "run_out_distance", "fail_safe_hold = '0.3 s'")
    assert "rotating_mass_factor" in alone


def test_brakes_that_act_at_once(tmp_path: Path) -> None:
    found = _cautions(tmp_path, "stopping_distance")
    (told,) = (one for one in found if "left at 0 s" in one)
    assert told.startswith("reaction_time and radio_delay left at 0 s")
    assert "give each under [inputs]" in told
    found = _cautions(tmp_path, "stopping_distance", SAID["delays"])
    assert not any("left at 0 s" in one for one in found)


@pytest.mark.parametrize(("distance", "told"), [(30, True), (40, False)])
def test_a_fence_nearer_than_the_reaction(tmp_path: Path, distance: float, told: bool) -> None:
    """0.8 s at 45 m/s are 36 m: with the fence nearer than that, no brake matters."""
    inputs = f"reaction_time = '0.78 s'\nradio_delay = '0.02 s'\nfence_distance = '{distance} m'"
    found = _cautions(tmp_path, "fence_energy", inputs)
    assert any("fence_distance is 30 m" in caution and "36 m" in caution for caution in found) == told


@pytest.mark.parametrize("quantity", ["run_out_distance", "fail_safe_stopping_distance"])
@pytest.mark.parametrize(("fence", "told"), [("300 m", True), ("400 m", False)])
def test_a_limit_that_lets_the_car_past_the_fence(
    tmp_path: Path, quantity: str, fence: str, told: bool
) -> None:
    """The fence moved, and the bound of the limit stayed: a pass would say nothing of the fence."""
    text = template(CarHas()).replace("[inputs]\n", f'[inputs]\nfence_distance = "{fence}"\n', 1)
    text += CALM.format(quantity=quantity, there="", minus="", most="'400 m'")
    (tmp_path / "study.toml").write_text(text, encoding="utf-8")
    found = [one for one in said(load_study(tmp_path)) if "past the fence" in one]
    assert len(found) == told
    words = (
        f"the limit on {quantity} in there lets it be 400 m, past the fence, where fence_distance is 300 m"
    )
    assert all(one.startswith(words) for one in found)


@pytest.mark.parametrize(("length", "told"), [("20 m", True), ("600 m", False)])
def test_a_strip_too_short_for_any_condition(tmp_path: Path, length: str, told: bool) -> None:
    found = _cautions(tmp_path, "strip_speed", f"strip_length = '{length}'")
    (words,) = [one for one in found if one.startswith("strip_length is")] or [""]
    assert bool(words) == told
    assert not told or ("speed@" in words and "give the whole way" in words)


@pytest.mark.parametrize(
    ("delay", "condition", "told"), [("", "open", True), ("", "closed", False), ("1.5 s", "open", False)]
)
def test_a_flap_that_opens_as_the_run_begins(tmp_path: Path, delay: str, condition: str, told: bool) -> None:
    """It decides the speed on the strip, since the rear tyres want the downforce to push."""
    given = f'flap_delay = "{delay}"\n' if delay else ""
    text = template(CarHas()).replace("[inputs]\n", f'[inputs]\nstrip_length = "300 m"\n{given}', 1)
    text += f'\n[[outputs]]\nquantities = ["strip_speed"]\nconditions = ["{condition}"]\n'
    (tmp_path / "study.toml").write_text(text, encoding="utf-8")
    found = [one for one in said(load_study(tmp_path)) if one.startswith("flap_delay left at 0 s")]
    assert len(found) == told
    assert all("and strip_speed hangs on that" in one for one in found)


def test_check_and_run_say_alike_how_fast_the_car_gets_on_the_strip(tmp_path: Path) -> None:
    """One evaluates what is asked for, the other all that can be: with the flap shut it gets faster here."""
    text = template(CarHas(brakes="fitted")).replace("[inputs]\n", '[inputs]\nstrip_length = "100 m"\n', 1)
    text += '\n[[outputs]]\nquantities = ["strip_speed"]\nconditions = ["open"]\n'
    (tmp_path / "study.toml").write_text(text, encoding="utf-8")
    study = load_study(tmp_path)
    asked, everything = asked_at_nominal(study), nominal_values(study)
    assert asked["closed"].get("strip_speed") is None
    assert everything["closed"]["strip_speed"] != pytest.approx(asked["open"]["strip_speed"], rel=1e-3)
    cautions = [list(out_of_room(study, nominal)) for nominal in (asked, everything)]
    assert cautions[0] == cautions[1] != []


SWEPT = '[[sweeps]]\nalong = "{}"\nfrom = "{}"\nto = "{}"\nquantities = ["{}"]\nconditions = ["closed"]\n'


@pytest.mark.parametrize(
    ("section", "words"),
    [
        ('[candidates.a]\nfence_distance = "10 m"', "candidates.a: fence_distance is 10 m, and before the"),
        ('[candidates.a]\nstrip_length = "20 m"', "candidates.a: strip_length is 20 m, on which the car"),
        (
            '[candidates.a]\nrear_floor_edge_station = "700 mm"',
            "candidates.a: rear_floor_edge_station is 700",
        ),
        (
            '[design.strip_length]\nlow = "25 m"\nhigh = "600 m"',
            "design.strip_length.low: strip_length is 25",
        ),
        ('[design.rear_floor_edge_station]\nlow = "0.4 m"\nhigh = "3 m"', "did you mean 0.3 m?"),
        ('[design.fence_distance]\nlow = "300 m"\nhigh = "600 m"', ""),
        (SWEPT.format("fence_distance", "5 m", "600 m", "fence_speed"), ".from: fence_distance is 5"),
        (SWEPT.format("strip_length", "25 m", "600 m", "strip_speed"), ".from: strip_length is 25"),
        (
            SWEPT.format("rear_floor_edge_station", "400 mm", "3000 mm", "rear_floor_edge_clearance"),
            ".to: rear_floor_edge_station is 3000 mm",
        ),
        (SWEPT.format("speed", "1 m/s", "60 m/s", "pitch"), ""),
    ],
)
def test_candidates_design_variables_and_sweeps_are_held_to_the_same(
    tmp_path: Path, section: str, words: str
) -> None:
    inputs = "strip_length = '600 m'\nfence_distance = '500 m'\n" + SAID["delays"]
    text = template(CarHas()).replace("[inputs]\n", f"[inputs]\n{inputs}\n", 1)
    text += '\n[[outputs]]\nquantities = ["strip_speed", "fence_energy"]\nconditions = ["closed"]\n'
    (tmp_path / "study.toml").write_text(f"{text}\n{section}\n", encoding="utf-8")
    study = load_study(tmp_path)
    found = [one for one in said(study) if one.startswith(("candidates", "design", "sweeps"))]
    assert len(found) == bool(words), found
    assert all(words in one for one in found)


@pytest.mark.parametrize("given", ["splitter_gap_at_rest = '9 mm'", ""])
def test_a_gain_without_the_gap_it_counts_from(tmp_path: Path, given: str) -> None:
    found = _cautions(tmp_path, "pitch", f"splitter_ground_gain = 0.5\n{given}")
    (words,) = [one for one in found if "splitter_ground_gain" in one]
    assert "splitter_reference_gap left at 10 mm" in words
    assert ("splitter_gap_at_rest" in words) == (not given)


@pytest.mark.parametrize(
    ("inputs", "told"),
    [
        ("", "give front_unsprung_mass, rear_unsprung_mass, front_tyre_stiffness, rear_tyre_stiffness under"),
        ("front_unsprung_mass = '0.12 kg'\nrear_unsprung_mass = '0.14 kg'\n", "give front_tyre_stiffness, "),
        (
            "front_unsprung_mass = '0.12 kg'\nrear_unsprung_mass = '0.14 kg'\n"
            "front_tyre_stiffness = '22 N/mm'\nrear_tyre_stiffness = '24 N/mm'\n",
            "",
        ),
    ],
)
def test_a_bump_under_wheels_without_mass(tmp_path: Path, inputs: str, told: str) -> None:
    bump = 'bump_height = "3 mm"\nbump_length = "2 m"\n'
    text = template(CarHas()).replace("[inputs]\n", f"[inputs]\n{inputs}", 1)
    text += f'\n[conditions.bumped]\nlike = "closed"\n{bump}'
    text += '\n[[outputs]]\nquantities = ["front_airborne_time"]\nconditions = ["bumped"]\n'
    (tmp_path / "study.toml").write_text(text, encoding="utf-8")
    found = [one for one in said(load_study(tmp_path)) if "without mass" in one]
    assert len(found) == bool(told)
    assert all(told in one for one in found)


@pytest.mark.parametrize(
    ("given", "words"),
    [
        ("servo_supply_share = 0.9\nservo_supply_sag = 0.1", ""),
        ("servo_supply_sag = 0.1", "servo_supply_share is left at 1, .* give it under"),
        ("servo_supply_share = 0.9", "servo_supply_sag is left at 0, .* give it under"),
        ("", "servo_supply_share is left at 1, .* and servo_supply_sag is left at 0, .* give each under"),
    ],
)
def test_a_servo_taken_to_get_what_its_data_sheet_says(tmp_path: Path, given: str, words: str) -> None:
    text = re.sub(r"(?m)^servo_supply_s(hare|ag) = .*\n", "", template(CarHas(1)))
    (tmp_path / "study.toml").write_text(text.replace("[inputs]\n", f"[inputs]\n{given}\n"), encoding="utf-8")
    found = said(load_study(tmp_path))
    assert bool(found) == bool(words)
    assert all(re.search(words, one) and "commanded_closing_time" in one for one in found)


CALM = """
[conditions.there]
like = "closed"
{there}
[[limits]]
quantity = "{quantity}"
condition = "there"
{minus}
at_most = {most}
probability = 0.9
"""
SIDE = "side_area = '0.06 m2'\nside_height = '60 mm'\nside_pressure_station = '60 mm'\n"


@pytest.mark.parametrize(
    ("quantity", "there", "minus", "words"),
    [
        ("front_airborne_time", "", "", "bump_height and gust are left at 0"),
        ("front_airborne_time", "gust = '2 m/s'", "", ""),
        ("blow_over_speed", "", "", "bump_pitch and gust are left at 0"),
        ("yaw_moment", "", "", "side_wind is left at 0; give it under [conditions.there]"),
        ("yaw_moment", "side_wind = '5 m/s'", "", ""),
        ("yaw_moment", "side_wind = '5 m/s'", 'minus = "closed"', ""),
        ("wake_front_load_loss", "", "", "wake_loss_front and wake_loss_rear are left at 0"),
        ("wake_front_load_loss", "wake_loss_front = 0.2", "", ""),
        ("pitch", "", "", ""),
    ],
)
def test_a_limit_on_what_a_disturbance_does_where_none_is_given(
    tmp_path: Path, quantity: str, there: str, minus: str, words: str
) -> None:
    """It is met, or missed, by a car that nothing disturbs, and the caution names what to give and where."""
    text = template(CarHas()).replace("[inputs]\n", f"[inputs]\n{SIDE}", 1)
    most = {"front_airborne_time": "'0.05 s'", "blow_over_speed": "'99 m/s'", "pitch": "'3 deg'"}
    most |= {"yaw_moment": "'1 N m'", "wake_front_load_loss": "'4 N'"}
    text += CALM.format(quantity=quantity, there=there, minus=minus, most=most[quantity])
    (tmp_path / "study.toml").write_text(text, encoding="utf-8")
    found = [one for one in said(load_study(tmp_path)) if "that nothing disturbs" in one]
    assert len(found) == bool(words)
    assert all(words in one and one.startswith(f"the limit on {quantity} in there") for one in found)


HELD = (
    '\n[[limits]]\nquantity = "front_axle_load"\ncondition = "closed"\nat_least = "1 N"\nprobability = 0.9\n'
)


@pytest.mark.parametrize(
    ("throttle", "limits", "words"),
    [
        ("holding", HELD, "is for a car at held speed;"),
        (
            "holding",
            HELD + HELD.replace('"closed"', '"gaining"').replace('name = "', 'name = "Gaining: '),
            "",
        ),
        ("coasting", HELD.replace('"closed"', '"gaining"'), "is for a car coasting;"),
    ],
    ids=["held speed alone", "at full throttle as well", "coasting alone"],
)
def test_a_front_load_judged_for_a_car_that_gains_no_speed(
    tmp_path: Path, throttle: str, limits: str, words: str
) -> None:
    text = template(CarHas()).replace('condition = "gaining"', 'condition = "closed"')
    if throttle == "coasting":
        text = text.replace('throttle = "full"', 'throttle = "coasting"').replace(
            'quantity = "front_lift_off_speed"\ncondition = "closed"',
            'quantity = "front_lift_off_speed"\ncondition = "gaining"',
        )
    (tmp_path / "study.toml").write_text(text + limits, encoding="utf-8")
    study = load_study(tmp_path)
    found = [one for one in said(study) if 'throttle = "full"' in one]
    assert len(found) == bool(words)
    assert all(words in one for one in found)


TOP = re.compile(r'quantities = \["top_speed", "top_speed_room",')


@pytest.mark.parametrize("asked", ["", "top_speed_room", "strip_speed"])
def test_a_top_speed_without_a_strip(tmp_path: Path, asked: str) -> None:
    """The caution names the key and goes with what it asks for."""
    text = TOP.sub('quantities = ["top_speed",', template(CarHas()))
    text = text.replace("[inputs]\n", '[inputs]\nstrip_length = "260 m"\n', 1)
    if asked:
        text += f'\n[[outputs]]\nquantities = ["{asked}"]\nconditions = ["closed"]\n'
    (tmp_path / "study.toml").write_text(text, encoding="utf-8")
    study = load_study(tmp_path)
    found = [one for one in said(study) if "without end" in one]
    assert bool(found) == (not asked)
    assert all("strip_length" in one and "strip_speed" in one for one in found)


@pytest.mark.parametrize(
    ("asked", "unit", "missing"),
    [
        ("strip_speed", "m/s", "strip_length"),
        ("fence_energy", "J", "fence_distance"),
        ("top_speed", "m/s", "tyre_friction"),
        ("stopping_distance", "m", "tyre_friction"),
        ("side_distance", "m", "slide_friction"),
        ("front_grip_left", "N", "side_area"),
    ],
)
def test_what_has_to_be_given_is_asked_for(tmp_path: Path, asked: str, unit: str, missing: str) -> None:
    """No default stands in where a strip, a fence, a friction or a side decides."""
    text = re.sub(rf"(?m)^{missing} = .*\n", "", template(CarHas()))
    limit = f'\n[[limits]]\nquantity = "{asked}"\ncondition = "closed"\nat_least = "0 {unit}"\n'
    (tmp_path / "study.toml").write_text(f"{text}{limit}probability = 0.9\n", encoding="utf-8")
    with pytest.raises(MissingInputError) as refused:
        load_study(tmp_path)
    assert refused.value.key == "inputs"
    assert re.search(rf"{missing} \[.*?\], needed for [a-z_, ]*{asked}", str(refused.value))
    assert "under [inputs]" in str(refused.value)


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (
            ('point = ["', 'point = ["nose", "'),
            "families.point names nose, but nothing that is asked for hangs on it; limit nose_clearance",
        ),
        (("[inputs]", '[inputs]\nfence_distance = "90 m"'), "limit fence_speed or list it"),
        (
            ("[conditions.open]", '[conditions.open]\nside_wind = "5 m/s"'),
            "conditions.open.side_wind is given, but nothing that is asked for there hangs on it",
        ),
        (("", '\n[candidates.a]\nside_wind = "5 m/s"\n'), "candidates.a.side_wind is given"),
        (("", '\n[design.cg_height]\nlow = "40 mm"\nhigh = "60 mm"\n'), ""),
        (("", '\n[design.end_plate_area]\nlow = 0\nhigh = "0.01 m2"\n'), "design.end_plate_area is given"),
    ],
)
def test_what_nothing_reads_is_told_with_what_would_read_it(
    tmp_path: Path, change: tuple[str, str], words: str
) -> None:
    """A named point or a side wind that no limit hangs on would be counted on, and mean nothing."""
    before, after = change
    text = template(CarHas())
    text = text.replace(before, after, 1) if before else text + after
    (tmp_path / "study.toml").write_text(text, encoding="utf-8")
    found = [one for one in said(load_study(tmp_path)) if "nothing that is asked for" in one]
    assert len(found) == bool(words), found
    assert all(words in one for one in found)


def test_a_point_that_carries_is_read(tmp_path: Path) -> None:
    text = template(CarHas()).replace('point = ["', 'point = ["nose", "', 1)
    given = 'nose_station = "-90 mm"\nnose_clearance_at_rest = "9 mm"\ncontact_friction = 0.3\n'
    text = text.replace("[inputs]\n", f"[inputs]\n{given}", 1)
    (tmp_path / "study.toml").write_text(
        text.replace("[models]\n", '[models]\ncontact = "points"\n', 1), encoding="utf-8"
    )
    assert not [one for one in said(load_study(tmp_path)) if "nothing that is asked for" in one]


@pytest.mark.parametrize("contact", [False, True])
def test_a_point_that_sinks_into_the_road(tmp_path: Path, contact: bool) -> None:
    """Loads and speeds are of no car there unless the point carries; nor says a limit on what it carries."""
    friction = 'contact_friction = "usual"\n' * contact
    text = template(CarHas()).replace("[inputs]\n", f"[inputs]\n{friction}", 1)
    chosen = 'contact = "points"\n' * contact
    text = text.replace("[models]\n", f"[models]\n{chosen}", 1)
    text = re.sub(
        r"(?m)^rear_floor_edge_clearance_at_rest = .*$", 'rear_floor_edge_clearance_at_rest = "2 mm"', text
    )
    text += CALM.format(quantity="contact_load", there="", minus="", most="'3 N'")
    (tmp_path / "study.toml").write_text(text, encoding="utf-8")
    found = said(load_study(tmp_path))
    (sunk,) = [one for one in found if "inside the road" in one] or [""]
    (limit,) = [one for one in found if "is met by any car" in one] or [""]
    assert bool(sunk) != contact
    assert bool(limit) != contact
    if not contact:
        assert sunk.startswith("rear_floor_edge of the nominal car is ")
        assert 'contact = "points" under [models]' in sunk
        assert limit.startswith("the limit on contact_load is met by any car")


@pytest.mark.parametrize("said_so", ["true", "false"])
@pytest.mark.parametrize("safety", ["true", "false"])
def test_standing_counts_in_a_limit_without_safety(tmp_path: Path, said_so: str, safety: str) -> None:
    """It is read of limits of safety alone; who writes it elsewhere counts on it."""
    limit = CALM.format(quantity="pitch", there="", minus="", most="'3 deg'")
    limit += f"safety = {safety}\nstanding_counts = {said_so}\n"
    (tmp_path / "study.toml").write_text(template(CarHas()) + limit, encoding="utf-8")
    found = [
        one for one in said(load_study(tmp_path)) if one.startswith("standing_counts in the limit on pitch")
    ]
    assert len(found) == (safety == "false")


@pytest.mark.parametrize(
    ("bound", "cap", "words"),
    [
        ('at_least = "95 m/s"', "", "no car can meet it"),
        ('at_most = "95 m/s"', "", "any car there meets it"),
        ('at_least = "95 m/s"', 'speed_cap = "120 m/s"\n', ""),
        ('at_least = "60 m/s"', "", ""),
    ],
)
def test_a_limit_beyond_where_the_search_ends(tmp_path: Path, bound: str, cap: str, words: str) -> None:
    """A car that is not found to lift by 90 m/s is taken to lift there, whatever the limit asks."""
    text = template(CarHas()).replace("[inputs]\n", f"[inputs]\n{cap}", 1)
    limit = CALM.format(quantity="front_lift_off_speed", there="", minus="", most="'1'")
    text += limit.replace("at_most = '1'", bound)
    (tmp_path / "study.toml").write_text(text, encoding="utf-8")
    found = [one for one in said(load_study(tmp_path)) if "the search for it ends" in one]
    assert len(found) == bool(words)
    start = "the limit on front_lift_off_speed in there is at 95 m/s, and the search for it ends at speed_cap"
    assert all(one.startswith(start) and words in one for one in found)
