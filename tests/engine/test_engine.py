"""The engine: the same numbers whatever the workers, streamed statistics that are right, failures counted."""

from __future__ import annotations

import gc
import tracemalloc
from collections.abc import Callable
from concurrent.futures import ProcessPoolExecutor
from dataclasses import replace
from multiprocessing import get_context
from pathlib import Path

import numpy as np
import pytest
from engine_help import fingerprint
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra import numpy as arrays
from statistics_help import within
from study_help import DEMO

from explorer.engine.execution import Execution
from explorer.engine.montecarlo import make_job, run_montecarlo
from explorer.engine.plan import CHUNK, chunk_sizes, in_order
from explorer.engine.streaming import Bins, Tally
from explorer.study.study import Study, load_study

Writer = Callable[..., Path]


@pytest.fixture(scope="module")
def demo() -> Study:
    return load_study(DEMO)


def test_same_numbers_to_the_last_bit_for_any_workers(demo: Study) -> None:
    samples = 2 * CHUNK + 1000
    one = run_montecarlo(demo, samples=samples, execution=Execution(workers=1))
    three = run_montecarlo(demo, samples=samples, execution=Execution(workers=3))
    assert fingerprint(one) == fingerprint(three)


def test_same_numbers_in_other_processes(demo: Study) -> None:
    samples = CHUNK + 500
    with ProcessPoolExecutor(2, mp_context=get_context("spawn")) as pool:
        other = run_montecarlo(demo, samples=samples, execution=Execution(workers=2, executor=pool))
    assert fingerprint(other) == fingerprint(
        run_montecarlo(demo, samples=samples, execution=Execution(workers=1))
    )


def test_another_seed_gives_other_numbers(demo: Study) -> None:
    one = run_montecarlo(demo, samples=2000)
    other = run_montecarlo(replace(demo, seed=demo.seed + 1), samples=2000)
    assert one.tallies[0].mean != other.tallies[0].mean


def test_an_input_more_does_not_reshuffle_the_others(small_study: Writer) -> None:
    before = run_montecarlo(load_study(small_study()), samples=2000)
    more = 'cg_height = { mean = 50, sd = 4, unit = "mm" }\n'
    braking = (
        '[conditions.braking]\nspeed = "0 m/s"\n'
        'longitudinal_acceleration = { low = -9, high = -5, unit = "m/s^2" }\n'
    )
    limit = '[[limits]]\nquantity = "front_axle_load"\ncondition = "braking"\nat_least = "1 N"\n'
    fewer_needs = 'front_axle_load = { mean = 30, sd = 3, unit = "N" }\n'
    after = run_montecarlo(load_study(small_study(more + fewer_needs, braking, limit)), samples=2000)
    assert set(after.kept) > set(before.kept)
    for name, values in before.kept.items():
        np.testing.assert_array_equal(after.kept[name], values)


def test_scrambled_design_agrees_with_random_and_is_sharper(small_study: Writer) -> None:
    study = load_study(small_study())
    plain = run_montecarlo(study, samples=16_384)
    sobol = run_montecarlo(replace(study, design="sobol"), samples=16_384)
    # Both inputs are normal and the load is nearly linear in them: mean weight times (1 - 190/360).
    truth = 5.0 * 9.80665 * (1 - 190 / 360)
    error = plain.tallies[0].sd / np.sqrt(16_384)
    assert within(plain.tallies[0].mean, truth, error)
    assert within(sobol.tallies[0].mean, truth, error / 10)
    assert sobol.shares.shape == (study.replicates, 3)


FAILING = """
from explorer.graph.quantity import quantity

@quantity("kg", source="definition", fails="the car is too heavy")
def light_mass(mass):
    '''Mass, where it is small enough.'''
    import numpy as np
    return np.where(mass > 5.2, np.nan, mass)
"""


def test_failed_samples_are_counted_blamed_and_held_against_the_limit(small_study: Writer) -> None:
    folder = small_study(
        limits='[[limits]]\nquantity = "light_mass"\ncondition = "rest"\nat_least = "1 kg"\n',
        **{"samples__=__4000": 'samples = 20000\nown_quantities = "own.py"'},
    )
    (folder / "own.py").write_text(FAILING)
    outcome = run_montecarlo(load_study(folder, allow_code=True))
    tally = outcome.tallies[1]
    # Mass is normal with mean 5.0 and standard deviation 0.1: above 5.2 is beyond two of them.
    beyond = 0.022750
    assert within(tally.failed / 20_000, beyond, np.sqrt(beyond * (1 - beyond) / 20_000))
    assert outcome.conforming[1] == 20_000 - tally.failed
    assert dict(outcome.first_failed) == {(1, "light_mass"): tally.failed}


def test_a_draw_outside_the_physical_range_is_a_failed_sample(small_study: Writer) -> None:
    folder = small_study(
        inputs='rolling_resistance = { mean = 0.0124, sd = 0.004, source = "test" }\n',
        limits='[[limits]]\nquantity = "rolling_resistance"\ncondition = "rest"\nat_most = 1\n',
    )
    text = (folder / "study.toml").read_text()
    (folder / "study.toml").write_text(text.replace("samples = 4000", "samples = 60000"))
    study = load_study(folder)
    outcome = run_montecarlo(study)
    # Zero lies 3.1 standard deviations below the mean.
    assert within(outcome.tallies[1].failed / 60_000, 0.00096760, np.sqrt(0.00097 / 60_000))
    assert dict(outcome.first_failed) == {(1, "rolling_resistance"): outcome.tallies[1].failed}


@pytest.mark.long
def test_memory_does_not_grow_with_samples(demo: Study) -> None:
    def peak(chunks: int) -> int:
        gc.collect()
        tracemalloc.start()
        run_montecarlo(demo, samples=chunks * CHUNK, keep=False, execution=Execution(workers=1))
        size = tracemalloc.get_traced_memory()[1]
        tracemalloc.stop()
        return size

    peak(1)
    assert peak(12) < 1.2 * peak(3)


def test_parts_arrive_in_order_and_none_is_lost() -> None:
    assert list(in_order(lambda i: i * i, 40, workers=4)) == [i * i for i in range(40)]
    assert list(in_order(lambda i: i, 5, workers=1, start=3)) == [3, 4]


def test_chunks_add_up() -> None:
    assert sum(chunk_sizes(3 * CHUNK + 7)) == 3 * CHUNK + 7
    assert chunk_sizes(CHUNK) == (CHUNK,)


finite = st.floats(-1e6, 1e6, allow_nan=False)


@settings(deadline=None, max_examples=60)
@given(arrays.arrays(float, st.integers(2, 300), elements=finite), st.integers(1, 299))
def test_merged_tallies_are_those_of_the_whole(values: np.ndarray, cut: int) -> None:
    bins = Bins.around(values)
    cut = min(cut, values.size - 1)
    merged = Tally.of(values[:cut], bins).merged(Tally.of(values[cut:], bins))
    assert merged.count == values.size
    assert merged.mean == pytest.approx(values.mean(), rel=1e-9, abs=1e-6)
    assert merged.sd == pytest.approx(values.std(ddof=1), rel=1e-6, abs=1e-4)
    assert merged.counts.sum() == values.size


def test_streamed_quantiles_lie_within_a_bin() -> None:
    values = np.random.Generator(np.random.Philox(3)).standard_normal(50_000)
    bins = Bins.around(values[:5000])
    tally = Tally.of(values, bins)
    width = bins.edges[1] - bins.edges[0]
    for probability in (0.001, 0.05, 0.5, 0.95, 0.999):
        assert abs(tally.quantile(probability) - np.quantile(values, probability)) < 1.5 * width
    assert tally.quantile(0.0) == values.min()
    assert tally.quantile(1.0) == values.max()


def test_kept_samples_are_those_that_were_judged(demo: Study) -> None:
    outcome = run_montecarlo(demo, samples=3000)
    job = make_job(demo, samples=3000)
    speed = outcome.kept["top_speed | open"]
    assert speed.size == 3000
    assert outcome.conforming[0] == np.count_nonzero(speed >= demo.limits[0].low)
    assert len(job.outputs) == len(set(job.outputs))
