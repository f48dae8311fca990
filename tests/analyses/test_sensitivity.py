"""What drives each limit: only what can matter is ranked, correlated inputs as one, nothing done twice."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import fields
from pathlib import Path

import numpy as np
import pytest
from statistics_help import within
from study_help import DEMO, Answer

from explorer.analyses.correlated import with_members
from explorer.analyses.sensitivity import (
    FIRST_REPLICATES,
    SCREENING,
    _Ranked,
    make_design,
    run_sensitivity,
)
from explorer.engine.execution import Execution
from explorer.engine.montecarlo import run_montecarlo
from explorer.engine.plan import make_plan
from explorer.engine.sampling import saltelli_columns
from explorer.estimators.sobol_parts import joined, replicate_parts
from explorer.study.study import load_study
from tests.saltelli import evaluated, sobol_g, unit_design

Writer = Callable[..., Path]

BRAKING = """
[conditions.braking]
speed = "0 m/s"
longitudinal_acceleration = { low = -12, high = -6, unit = "m/s^2" }
"""
MORE = """
[[limits]]
name = "mass"
quantity = "weight"
condition = "rest"
at_least = "40 N"
"""


def test_blocks_are_those_of_evaluating_everything_everywhere() -> None:
    study = load_study(DEMO)
    design = make_design(study)
    columns = saltelli_columns(study.seed, design.plan.uncertain, 0, design.rows.bit_length() - 1)
    first, second = (design.plan.draw(side) for side in columns)
    groups = design.groups.values()
    blocks = [
        first,
        *({**first, **{key: second[key] for key in keys}} for keys in groups),
        *({**second, **{key: first[key] for key in keys}} for keys in groups),
        second,
    ]
    wanted = [pair for limit in study.limits for pair in limit.output.pairs]
    plan = make_plan(study, wanted)
    brute = [
        np.stack([limit.margin_in(found) for limit in study.limits], axis=1)
        for found in (plan.evaluate(block) for block in blocks)
    ]
    np.testing.assert_array_equal(design.replicate(0), np.stack(brute, axis=1))


def test_inputs_that_are_not_upstream_are_left_out(small_study: Writer) -> None:
    study = load_study(small_study(limits=MORE))
    ranked = {name: {index.name for index in found.indices} for name, found in run_sensitivity(study).items()}
    assert ranked == {"front load": {"mass", "cg_station"}, "mass": {"mass"}}


def test_correlated_inputs_are_one_group(small_study: Writer) -> None:
    pair = '[[correlations]]\nbetween = ["mass", "cg_station"]\nvalue = -0.7\n'
    (found,) = run_sensitivity(load_study(small_study(inputs=pair))).values()
    (index,) = found.indices
    assert index.members == ("mass", "cg_station")
    assert index.total.value == pytest.approx(1.0, abs=0.01)


def test_an_uncertain_condition_is_an_input_of_its_own(small_study: Writer) -> None:
    limit = (
        '[[limits]]\nname = "nose"\nquantity = "load_transfer"\ncondition = "braking"\nat_least = "-99 N"\n'
    )
    height = 'cg_height = { mean = 50, sd = 4, unit = "mm", source = "test" }\n'
    found = run_sensitivity(load_study(small_study(height, BRAKING, limit)))["nose"]
    assert found.indices[0].name == "longitudinal_acceleration@braking"


def test_a_study_without_uncertainty_ranks_nothing(small_study: Writer) -> None:
    folder = small_study()
    text = (folder / "study.toml").read_text()
    for old, new in (("mean = 5.0, sd = 0.1", "value = 5.0"), ("mean = 190, sd = 5", "value = 190")):
        text = text.replace(old, new)
    (folder / "study.toml").write_text(text)
    assert run_sensitivity(load_study(folder)) == {}


# Shares of 0.515 and 0.485: eight replicates of 64 rows cannot tell them apart.
NEAR = {"mass": "mean = 5.0, sd = 0.5", "station": "mean = 190, sd = 16.5"}


# Front load is m g (1 - x / L), so everything about it is known in closed form (independent m and x):
# first-order shares of a product of independent factors, and what is left for the two together.
def product_shares(
    mass: tuple[float, float], station: tuple[float, float], base: float
) -> tuple[float, float, float]:
    arm, arm_sd = 1 - station[0] / base, station[1] / base
    alone = (mass[1] * arm) ** 2, (mass[0] * arm_sd) ** 2
    together = (mass[1] * arm_sd) ** 2
    return (*(one / (sum(alone) + together) for one in alone), together / (sum(alone) + together))


def with_spread(folder: Path, mass: str, station: str, **keys: object) -> Path:
    """Rewrite the small study's two inputs, and add keys to its first section."""
    text = (folder / "study.toml").read_text()
    text = text.replace("mean = 5.0, sd = 0.1", mass).replace("mean = 190, sd = 5", station)
    added = "".join(f"{key} = {str(value).lower()}\n" for key, value in keys.items())
    (folder / "study.toml").write_text(text.replace("[study]\n", f"[study]\n{added}", 1))
    return folder


def test_pairs_are_estimated_where_asked_for(small_study: Writer) -> None:
    asked = with_spread(small_study(), "mean = 5.0, sd = 1.0", "mean = 190, sd = 40", sensitivity_pairs=True)
    (found,) = run_sensitivity(load_study(asked)).values()
    (pair,) = found.pairs
    first_mass, first_station, together = product_shares((5.0, 1.0), (190, 40), 360)
    assert set(pair.names) == {"mass", "cg_station"}
    error = (pair.value.high - pair.value.low) / 2 / 2.36  # Student t of seven degrees of freedom
    assert within(pair.value.value, together, error)
    assert found.pairs_that_matter == (pair,)
    shares = {index.name: index.first for index in found.indices}
    for name, truth in (("mass", first_mass), ("cg_station", first_station)):
        assert within(shares[name].value, truth, (shares[name].high - shares[name].low) / 2 / 2.36)


def test_pairs_cost_nothing_where_nobody_asks(small_study: Writer) -> None:
    (found,) = run_sensitivity(load_study(small_study())).values()
    assert found.pairs == ()


def test_replicates_are_drawn_until_the_order_is_settled(small_study: Writer) -> None:
    study = load_study(with_spread(small_study(), **NEAR, sensitivity_replicates=256))
    (found,) = run_sensitivity(study).values()
    assert FIRST_REPLICATES < found.replicates <= 256
    assert found.settled
    assert found.samples == found.samples_needed == 64 * found.replicates
    assert [index.name for index in found.indices] == ["mass", "cg_station"]
    (again,) = run_sensitivity(study, execution=Execution(workers=2)).values()
    assert again == found


def test_an_order_that_would_take_too_much_is_said_to_be_open(small_study: Writer) -> None:
    (found,) = run_sensitivity(
        load_study(with_spread(small_study(), **NEAR, sensitivity_replicates=8))
    ).values()
    assert found.replicates == FIRST_REPLICATES
    assert not found.settled
    assert found.samples_needed > found.samples
    assert "not certain" in found.note


def test_only_an_order_that_matters_is_settled(small_study: Writer) -> None:
    study = load_study(with_spread(small_study(limits=MORE), **NEAR, sensitivity_replicates=256))
    found = run_sensitivity(study, ["mass"])
    assert found["front load"].replicates == SCREENING
    assert found["mass"].replicates == FIRST_REPLICATES


def test_replicates_are_the_same_alone_and_side_by_side(small_study: Writer) -> None:
    design = make_design(load_study(small_study()))
    together, alone = design.parts(range(1, 3)), [*design.parts([1]), *design.parts([2])]
    for one, other in zip(together, alone, strict=True):
        for field in fields(one.parts):
            np.testing.assert_array_equal(getattr(one.parts, field.name), getattr(other.parts, field.name))


def test_further_replicates_are_evaluated_only_for_the_limits_still_open(small_study: Writer) -> None:
    folder = with_spread(small_study(limits=MORE), **NEAR, sensitivity_replicates=256)
    found = run_sensitivity(load_study(folder))
    assert found["front load"].replicates > FIRST_REPLICATES
    assert found["mass"].replicates == FIRST_REPLICATES


def test_further_replicates_change_only_what_may_lead(small_study: Writer) -> None:
    height = 'cg_height = { mean = 50, sd = 4, unit = "mm", source = "test" }\n'
    limit = (
        '[[limits]]\nname = "nose"\nquantity = "load_transfer"\ncondition = "braking"\nat_least = "-99 N"\n'
    )
    folder = small_study(height, BRAKING, limit)
    study = load_study(folder)
    design = make_design(study, study.limits, {"front load": {"mass", "cg_station"}, "nose": {"mass"}})
    assert design.groups.keys() == {"mass", "cg_station"}
    whole = make_design(study)
    for name, limits in (("mass", (0, 1)), ("cg_station", (0,))):
        ours, theirs = (1 + list(one.groups).index(name) for one in (design, whole))
        np.testing.assert_array_equal(
            design.replicate(9)[:, ours, limits], whole.replicate(9)[:, theirs, limits]
        )


def test_of_correlated_inputs_each_known_alone_teaches_of_the_other(small_study: Writer) -> None:
    """Joint normal, margin nearly linear: what each alone explains is its squared correlation with it."""
    pair = '[[correlations]]\nbetween = ["mass", "cg_station"]\nvalue = -0.7\n'
    study = load_study(small_study(inputs=pair))
    ranked = with_members(study, run_montecarlo(study), run_sensitivity(study))
    (index,) = ranked["front load"].indices
    # Relative changes of the front load by one standard deviation of each.
    by_mass, by_station = 0.1 / 5, -5 / (360 - 190)
    variance = by_mass**2 + by_station**2 + 2 * -0.7 * by_mass * by_station
    truth = {
        "mass": (by_mass - 0.7 * by_station) ** 2 / variance,
        "cg_station": (by_station - 0.7 * by_mass) ** 2 / variance,
    }
    assert {name for name, _ in index.known_alone} == set(truth)
    for name, share in index.known_alone:
        # The margin is linear to a few parts in a hundred of its own spread.
        assert within(share.value, truth[name], (share.high - share.low) / 2 / 1.96 + 0.001)
    assert sum(truth.values()) > 1.5  # both know much of the same: the shares do not add up to one


def test_samples_that_were_not_kept_are_drawn_again_for_it(small_study: Writer) -> None:
    pair = '[[correlations]]\nbetween = ["mass", "cg_station"]\nvalue = -0.7\n'
    study = load_study(small_study(inputs=pair))
    drivers = run_sensitivity(study)
    kept, again = (with_members(study, run_montecarlo(study, keep=keep), drivers) for keep in (True, False))
    assert kept == again


@pytest.mark.long
def test_a_limit_whose_margin_never_varies_ranks_nobody(
    squatline: Callable[..., Answer], small_study: Writer
) -> None:
    sure = '[[limits]]\nname = "sure"\nquantity = "returns"\ncondition = "rest"\nat_least = 0.5\n'
    head = 'from explorer import quantity\n\n\n@quantity("1", source="test")\ndef returns(mass):\n'
    code = head + '    """Always one."""\n    return 0 * mass + 1.0\n'
    folder = with_spread(small_study(limits=sure), "mean = 5.0, sd = 0.1", "mean = 190, sd = 5")
    text = (folder / "study.toml").read_text()
    (folder / "study.toml").write_text(text.replace("[study]\n", '[study]\nown_quantities = "own.py"\n', 1))
    (folder / "own.py").write_text(code)
    answer = squatline("run", folder, "--allow-code", "--engine", "threads", "--details")
    said = " ".join(answer.out.split())
    assert "Nothing to rank for “sure”: the margin is the same for every car drawn" in said
    page = (folder / "results" / "report.html").read_text()
    assert "Nothing to rank for “sure”" in page
    assert "What drives “sure”" not in page


def test_few_readings_are_ranked_by_place_and_said(small_study: Callable[..., Path]) -> None:
    few = "cg_station__=__{__mean__=__190,__sd__=__5,"
    for readings, by_rank in (("[186, 191, 193, 190]", True), ("[186, 191, 193, 190, 189, 192, 190]", False)):
        study = load_study(small_study(**{few: f"cg_station = {{ readings = {readings},"}))
        found = run_sensitivity(study)["front load"]
        assert found.by_rank is by_rank
        assert ("known from so few readings" in found.note) is by_rank
        assert {index.name for index in found.indices} == {"mass", "cg_station"}


@pytest.mark.long
def test_intervals_hold_the_truth_where_only_what_may_lead_is_drawn_further() -> None:
    """Repeat 300 times on the G function, whose shares are known in closed form; the third leads at times."""
    (limit,) = load_study(DEMO).limits[:1]
    alone = 1 / 3 / (1 + np.array([0, 1, 4.5, 9, 99, 99, 99, 99])) ** 2
    whole = np.prod(1 + alone)
    truth = alone * whole / (1 + alone) / (whole - 1)
    repetitions, covered, led = 300, np.zeros(3), 0
    groups = {f"x{i}": (f"x{i}",) for i in range(8)}
    blocks = evaluated(sobol_g, unit_design(8, 128, 8 * repetitions, seed=77))
    for drawn in blocks.reshape(repetitions, 8, *blocks.shape[1:]):
        first = joined([replicate_parts(block, 8).of(0, range(8)) for block in drawn[:SCREENING]])
        ranking = _Ranked(limit, groups, first, False, None)
        places = [list(groups).index(name) for name in ranking.leading]
        led += 2 in places
        chosen = [0, *(1 + place for place in places), *(9 + place for place in places), 17]
        for block in drawn[SCREENING:]:
            few = replicate_parts(block[:, chosen], len(places))
            ranking.further.append(few.of(0, range(len(places))))
        found = {index.name: index.total for index in ranking.found.indices}
        covered += [found[f"x{i}"].low <= truth[i] <= found[f"x{i}"].high for i in range(3)]
    assert led > 0
    for share in covered / repetitions:
        assert within(share, 0.95, (0.95 * 0.05 / repetitions) ** 0.5, z=3)
