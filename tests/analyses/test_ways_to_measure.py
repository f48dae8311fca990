"""A study without measurements: the catalogue's are weighed and marked, and what nothing reads is named."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest
from study_help import CHASE, DEMO, Answer

from explorer import run
from explorer.analyses.measurement_value import weigh_measurements
from explorer.analyses.ways_to_measure import ways_to_measure
from explorer.engine.montecarlo import run_montecarlo
from explorer.estimators.measuring import Stake
from explorer.estimators.rough_worth import loss_saved
from explorer.study.study import load_study
from reports.report import Report
from reports.sections import measuring
from reports.terminal import words

Cli = Callable[..., Answer]
Writer = Callable[..., Path]

OWN = """
[measurements.tilt]
label = "centre of gravity"
reads = { cg_station = { noise = "1 mm" } }
hours = 0.5
"""
BOTH = OWN + "\n[measuring]\ncatalogue = true\n"
NEITHER = "\n[measuring]\ncatalogue = false\n"


@pytest.mark.parametrize(
    ("limits", "names", "unread"),
    [
        ("", ["kitchen_scales", "axle_scales"], ()),
        (OWN, ["tilt"], ("mass",)),
        (BOTH, ["tilt", "kitchen_scales"], ()),
        (NEITHER, [], ("mass", "cg_station")),
    ],
    ids=["none", "own", "both", "neither"],
)
def test_a_list_of_ones_own_replaces_the_catalogue_unless_it_is_asked_for(
    limits: str, names: list[str], unread: tuple[str, ...], small_study: Writer
) -> None:
    ways = ways_to_measure(load_study(small_study(limits=limits)))
    assert [one.name for one in ways.measurements] == names
    assert set(ways.from_catalogue) == set(names) - {"tilt"}
    assert ways.unread == unread


def test_what_no_limit_hangs_on_is_not_measured(small_study: Writer) -> None:
    folder = small_study(inputs='cg_height = { mean = 50, sd = 4, unit = "mm", source = "test" }')
    assert "tilt_on_scales" not in ways_to_measure(load_study(folder)).from_catalogue
    # One that the study lists is told and left out, and the others are weighed.
    own = '[measurements.height]\nlabel = "height"\nreads = { cg_height = { noise = "1 mm" } }\nhours = 1\n'
    with (folder / "study.toml").open("a") as file:
        file.write(OWN + own)
    study = load_study(folder)
    ways = ways_to_measure(study)
    assert ways.cautions == ("no limit hangs on what measuring the height reads: it is not weighed",)
    plan = weigh_measurements(study, run_montecarlo(study), ways)
    assert plan is not None
    assert [one.measurement for one in plan.alone] == ["tilt"]


@pytest.mark.long
def test_a_run_says_what_to_measure_first_without_any_list(small_study: Writer, squatline: Cli) -> None:
    folder = small_study(**{"probability__=__0.5": "probability = 0.9"})
    said = " ".join(squatline("run", folder, "--no-report", "--details").out.split())
    assert "Measure the centre of gravity along the car first: it takes half an hour" in said
    assert "(a home method of the catalogue, measurements)" in said
    assert "these are home methods of the catalogue, their hours and errors judged" in said


@pytest.mark.long
def test_what_nothing_reads_is_named_in_check_terminal_and_page(small_study: Writer, squatline: Cli) -> None:
    folder = small_study(limits=OWN)
    named = "no way to measure is listed for: mass"
    assert named in " ".join(squatline("check", folder).out.split())
    assert f"N{named[1:]}" in " ".join(squatline("run", folder, "--no-report", "--details").out.split())
    section = measuring.build(Report(run(load_study(folder), samples=1000)))
    assert section is not None
    assert any(named[1:] in words(getattr(block, "line", ())) for block in section.blocks)


def test_check_names_what_nothing_reads_in_words(small_study: Writer, squatline: Cli) -> None:
    own = '[measurements.scales]\nreads = { mass = { noise = "10 g" } }\nhours = 0.1\n'
    said = " ".join(squatline("check", small_study(limits=own)).out.split())
    assert "no way to measure is listed for: centre of gravity station" in said


def test_one_axle_is_a_job_and_all_flaps_take_their_time() -> None:
    study = load_study(CHASE)
    study.entries.measurements.clear()
    ways = {one.name: one for one in ways_to_measure(study).measurements}
    assert ways["spring_on_a_scale_front_spring_rate"].label == "front spring rate"
    assert ways["spring_on_a_scale_front_spring_rate"].hours == 0.5
    assert ways["end_plates_together"].hours == pytest.approx(3 * 0.15)
    assert len(ways["end_plates_together"].reads) == 6
    # The next bump is another one: the straight edge tells nothing that holds in every run.
    assert "straight_edge" not in ways


@pytest.mark.long
def test_the_rough_estimate_keeps_what_is_worth_most() -> None:
    study = load_study(DEMO)
    study.entries.measurements.clear()
    ways = ways_to_measure(study)
    outcome = run_montecarlo(study, samples=4000)
    chosen = weigh_measurements(study, outcome, ways)
    everything = weigh_measurements(study, outcome, replace(ways, from_catalogue={}))
    assert chosen is not None
    assert everything is not None
    assert len(chosen.alone) < len(everything.alone)
    kept = {one.measurement for one in chosen.alone}
    assert everything.alone[0].measurement in kept
    # Of those that the samples cannot tell apart any will do.
    for one in everything.alone[:3]:
        assert one.measurement in kept or kept & set(one.tied_with)


def test_the_best_way_for_each_limit_is_weighed(small_study: Writer, monkeypatch: pytest.MonkeyPatch) -> None:
    """Else a limit would be called beyond measuring though a way that was left out would settle it."""
    lone = """
[[limits]]
name = "tall"
quantity = "cg_height"
condition = "rest"
at_least = "45 mm"
probability = 0.9
"""
    extra = """
cg_height = { mean = 50, sd = 4, unit = "mm", source = "test" }
"""
    monkeypatch.setattr("explorer.analyses.measurement_value.MOST_USEFUL", 0)
    ways = ways_to_measure(study := load_study(small_study(inputs=extra, limits=lone)))
    plan = weigh_measurements(study, run_montecarlo(study), ways)
    assert plan is not None
    assert {one.measurement for one in plan.alone} == {"axle_scales", "tilt_on_scales"}


def test_the_rough_estimate_is_that_of_a_normal_margin() -> None:
    """Against the expected loss drawn at random: 4 standard errors (no source: the definition itself)."""
    import numpy as np
    from scipy.special import ndtr

    stake, mean, explained, draws = Stake("limit", 0.9, 2.0), 1.0, 0.6, 400_000
    told = np.sqrt(explained) * np.random.default_rng(5).standard_normal(draws)
    then = ndtr((mean + told) / np.sqrt(1 - explained))
    passed = then >= stake.required
    losses = np.where(passed, stake.wrong_pass * (1 - then), stake.weight * then)
    before = min(stake.weight * ndtr(mean), stake.wrong_pass * ndtr(-mean))
    error = np.std(losses) / np.sqrt(draws)
    assert loss_saved(explained, float(ndtr(mean)), stake) == pytest.approx(
        before - losses.mean(), abs=4 * error + 1e-4
    )
    assert loss_saved(0.0, 0.8, stake) == pytest.approx(0, abs=1e-12)


@pytest.mark.parametrize(
    "reads",
    [
        '{ point_clearance_at_rest = { noise = "0.2 mm" } }',
        '["point_clearance_at_rest"]',
        '"point_clearance_at_rest"',
    ],
    ids=["table", "list", "name"],
)
def test_the_name_of_a_family_is_read_on_every_member(reads: str, small_study: Writer) -> None:
    measured = f'\n[measurements.strips]\nreads = {reads}\naccuracy = {{ noise = "0.2 mm" }}\nhours = 0.5\n'
    points = (
        '[families]\npoint = ["nose", "tail"]\n\n[inputs]\n'
        'point_station = "100 mm"\npoint_clearance_at_rest = "9 ± 1 mm"\n'
    )
    study = load_study(small_study(limits=measured, **{"[inputs]": points}))
    (strips,) = ways_to_measure(study).measurements
    assert set(strips.reads) == {"nose_clearance_at_rest", "tail_clearance_at_rest"}
    assert all(how_well.noise == 0.0002 for how_well in strips.reads.values())
