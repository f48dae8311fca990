"""Measurements of a study: read, weighed from the run's own samples, and put into one sentence."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest
from statistics_help import within
from study_help import Answer

from explorer.analyses.measurement_value import weigh_measurements
from explorer.analyses.ways_to_measure import ways_to_measure
from explorer.engine.montecarlo import Outcome, run_montecarlo
from explorer.errors import SquatlineError
from explorer.estimators.measuring_outlook import MeasuringPlan
from explorer.study.study import Study, load_study

Cli = Callable[..., Answer]
Writer = Callable[..., Path]

SCALES = """
[measurements.tilt]
label = "centre of gravity"
reads = { cg_station = { noise = "1 mm" } }
hours = 0.5

[measurements.scales]
take = "kitchen_scales"
"""


def weighed(study: Study, outcome: Outcome) -> MeasuringPlan | None:
    return weigh_measurements(study, outcome, ways_to_measure(study))


def test_measuring_removes_the_share_of_the_variance_that_linear_theory_says(small_study: Writer) -> None:
    """Closed form for a linear Gaussian margin: share x sd^2 / (sd^2 + noise^2)."""
    study = load_study(small_study(limits=SCALES))
    plan = weighed(study, run_montecarlo(study, samples=30_000))
    assert plan is not None
    worth = next(one for one in plan.worths if one.measurement == "tilt")
    mass, station = (0.1 / 5) ** 2, (5 / 170) ** 2
    expected = station / (mass + station) * 5**2 / (5**2 + 1**2)
    removed = worth.variance_removed.value / worth.before.variance.value
    assert within(removed, expected, worth.variance_removed.error / worth.before.variance.value)


def test_samples_that_were_not_kept_give_the_same_plan(small_study: Writer) -> None:
    study = load_study(small_study(limits=SCALES))
    kept = weighed(study, run_montecarlo(study))
    again = weighed(study, run_montecarlo(study, keep=False))
    assert kept == again


def test_run_says_first_what_to_measure_first(small_study: Writer, squatline: Cli) -> None:
    folder = small_study(limits=SCALES, **{"probability__=__0.5": "probability = 0.9"})
    answer = squatline("run", folder, "--no-report")
    said = " ".join(answer.out.split())
    assert "Measure the centre of gravity first: it takes half an hour, with a " in said
    assert "of showing that “front load” passes (90 % required)" in said
    summary = json.loads((folder / "results" / "summary.json").read_text())
    assert summary["measuring"]["steps"][0]["label"] == "centre of gravity"


@pytest.mark.long
@pytest.mark.parametrize(
    ("section", "words"),
    [
        ('take = "kitchen_scale"', ["measurements.m.take", "did you mean 'kitchen_scales'?"]),
        ('reads = { wheelbase = { noise = "1 mm" } }\nhours = 1', ["wheelbase", "given as exact"]),
        ('reads = ["mas"]\nhours = 1\naccuracy = { noise = "1 g" }', ["did you mean 'mass'?"]),
        (
            'reads = ["mass"]\nhours = 1\naccuracy = { noise = "1 mm" }',
            ["measurements.m.reads.mass.noise", "mm"],
        ),
        ('reads = ["mass"]\nhours = 0\naccuracy = { noise = "1 g" }', ["measurements.m.hours"]),
        ('reads = ["mass"]\nhour = 1', ["measurements.m.hour", "did you mean 'hours'?"]),
    ],
)
def test_wrong_measurements_are_told(
    section: str, words: list[str], small_study: Writer, squatline: Cli
) -> None:
    folder = small_study(limits=f"[measurements.m]\n{section}\n")
    answer = squatline("run", folder)
    assert answer.status == 2
    assert sorted(path.name for path in folder.iterdir()) == ["study.toml"]
    for expected in ["study.toml", *words]:
        assert expected in answer.err


def test_check_finds_wrong_measurements_too(small_study: Writer, squatline: Cli) -> None:
    answer = squatline("check", small_study(limits='[measurements.m]\ntake = "crystal_ball"\n'))
    assert answer.status == 2
    assert "measurements.m.take" in answer.err


def test_correlated_inputs_teach_each_other(small_study: Writer) -> None:
    pair = '[[correlations]]\nbetween = ["mass", "cg_station"]\nvalue = 0.8\n'
    only_mass = '[measurements.scales]\nreads = { mass = { noise = "1 g" } }\nhours = 0.5\n'
    linked = load_study(small_study(inputs=pair, limits=only_mass))
    apart = replace(linked, correlations=())
    removed = []
    for study in (linked, apart):
        plan = weighed(study, run_montecarlo(study, samples=20_000))
        assert plan is not None
        removed.append(plan.worths[0].variance_removed.value / plan.worths[0].before.variance.value)
    # Relative sensitivities: +1 x 0.1/5 for mass, -1 x 5/170 for the station, linked by 0.8.
    m, s, r = 0.1 / 5, -5 / 170, 0.8
    assert removed[0] == pytest.approx((m + r * s) ** 2 / (m**2 + s**2 + 2 * r * m * s), abs=0.03)
    assert removed[1] == pytest.approx(m**2 / (m**2 + s**2), abs=0.03)


def test_measurements_are_read_in_the_order_of_the_file(small_study: Writer) -> None:
    study = load_study(small_study(limits=SCALES))
    assert [one.name for one in ways_to_measure(study).measurements] == ["tilt", "scales"]
    with pytest.raises(SquatlineError):
        ways_to_measure(load_study(small_study(limits="[measurements.m]\nhours = 1\n")))
