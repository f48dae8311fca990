"""Errors of models that logged runs tell: how large, of which kind, how sure, and taken up by the study."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from log_help import copied, with_sections, write_columns
from scipy.signal import lfilter
from statistics_help import within
from study_help import Answer

from explorer import load_study, validate
from explorer.graph.arrays import Array
from explorer.logs.fitting.model_error import Discrepancy, ModelError, model_error
from explorer.logs.forward import forward_model
from explorer.logs.model_errors import found_errors
from tests.synthetic import random_stream

Cli = Callable[..., Answer]

DRAG = """
[logged_runs.mine]
file = "mine.csv"
quantity = "drag_force"
condition = "closed"
columns = { speed = { column = "v", unit = "m/s" }, drag_force = { column = "d", unit = "N" } }
"""
AT = np.linspace(10.0, 40.0, 25)
WHERE = np.linspace(12.0, 38.0, 150)


def estimated(
    kind: str, size: float, seed: int, *, believed: float = 0.03, repeating: float = 0.0, cars: int = 300
) -> ModelError:
    """Return the error found from one log of a car like v^2, its coefficient known with a spread."""
    random = np.random.default_rng(seed)
    coefficients = 0.02 * (1 + believed * random.standard_normal(cars + 1))
    true = coefficients[0] * WHERE**2
    noise = np.sqrt(1 - repeating**2) * 0.3 * random.standard_normal(WHERE.size)
    noise = lfilter([1.0], [1.0, -repeating], noise)
    logged = (true * size if kind == "factor" else true + size) + noise
    return model_error([Discrepancy.of(AT, coefficients[1:, None] * AT**2, WHERE, logged)])


def test_kind_and_size_are_found() -> None:
    factor, offset = (estimated("factor", 1.2, 1, believed=1e-6), estimated("offset", 4.0, 2, believed=1e-6))
    assert (factor.kind, offset.kind) == ("factor", "offset")
    assert within(factor.mean, 1.2, factor.sd)
    assert within(offset.mean, 4.0, offset.sd)
    assert factor.sd < 0.02
    assert offset.sd < 0.3


def test_doubt_about_the_inputs_goes_into_it() -> None:
    found = estimated("factor", 1.0, 3, believed=0.05)
    assert within(found.from_inputs, 0.05, 0.05 / np.sqrt(2 * 300))
    assert found.sd >= found.from_inputs


def test_runs_that_differ_widen_it() -> None:
    def run(size: float) -> Discrepancy:
        return Discrepancy.of(WHERE, np.full((100, 1), 0.02) * WHERE**2, WHERE, size * 0.02 * WHERE**2)

    alike, apart = model_error([run(1.1), run(1.1)]), model_error([run(1.0), run(1.2)])
    assert alike.sd == pytest.approx(0.0, abs=1e-9)
    # Ten stretches, half of them 0.1 below the mean and half above.
    assert apart.mean == pytest.approx(1.1)
    assert apart.sd == pytest.approx(0.1 * np.sqrt(1.1 * 10 / 9))


@pytest.mark.long
@pytest.mark.parametrize("repeating", [0.0, 0.5, 0.9])
@pytest.mark.parametrize(("kind", "size"), [("factor", 1.1), ("offset", 3.0)])
def test_interval_holds_the_true_error_at_least_95_times_in_100(
    kind: str, size: float, repeating: float
) -> None:
    repeats, held = 1000, 0
    for seed in range(repeats):
        found = estimated(kind, size, seed, repeating=repeating, cars=200)
        held += found.kind == kind and abs(found.mean - size) <= 1.96 * found.sd
    # Conservative where the log's own scatter counts: never below, by more than three standard errors.
    assert held / repeats >= 0.95 - 3 * np.sqrt(0.95 * 0.05 / repeats)


def drag_of(folder: Path) -> Array:
    study = load_study(folder)
    given = {name: one.distribution.nominal for name, one in study.given_in("closed").items()}
    return forward_model(study.graph, ["drag_force"], {"closed": given}, [])("closed", {}, WHERE)[
        "drag_force"
    ]


@pytest.mark.long
def test_study_takes_up_what_a_run_tells(tmp_path: Path, squatline: Cli) -> None:
    demo = copied(tmp_path)
    drag = 1.3 * drag_of(demo) + 0.05 * random_stream(1).standard_normal(WHERE.size)
    write_columns(demo / "mine.csv", {"v": WHERE, "d": drag})
    study = with_sections(demo, DRAG)
    (before,) = validate(study, "mine")
    (found,) = found_errors([before])
    assert found.error.kind == "factor"
    assert within(found.error.mean, 1.3, found.error.sd, z=2)
    answer = squatline("validate", demo, "mine", "--include")
    assert found.entry in " ".join(answer.out.split())
    taken = load_study(demo)
    assert taken.inputs["drag_force_model_factor"].distribution.mean == pytest.approx(
        found.error.mean, abs=0.01
    )
    assert taken.inputs["drag_force_model_factor"].source == "logged run mine"
    (after,) = validate(taken, "mine")
    assert after.validation.explains
    # It is found anew without itself.
    assert found_errors([after])[0].error == found.error
    (demo / "fitted" / "model_errors.toml").write_text("# mine\n", encoding="utf-8")
    assert "move it away" in squatline("validate", demo, "mine", "--write").err
