"""When to stop drawing: figures that stand still, verdicts that are in."""

from __future__ import annotations

import math
from collections.abc import Iterable

import numpy as np
import pytest

from explorer.errors import SampleError
from explorer.estimators import conformance, stopping
from tests.statistics_help import batch_of, within


def batches(count: int, size: int = 10_000, seed: int = 1) -> list[stopping.Batch]:
    generator = np.random.default_rng(seed)
    return [batch_of(generator.normal(5.0, 0.35, size)) for _ in range(count)]


def stability_of(drawn: Iterable[stopping.Batch], figures: int = 2) -> stopping.Stability:
    return stopping.stability(stopping.Batches.of(drawn), figures=figures)


def test_one_batch_never_settles() -> None:
    found = stability_of(batches(1))
    assert not found.settled
    assert (found.mean, found.batches_needed) == (math.inf, 2)


def test_more_batches_settle_fewer_figures_sooner() -> None:
    drawn = batches(60)
    assert stability_of(drawn[:20], figures=1).settled
    assert not stability_of(drawn[:5]).settled
    needed = stability_of(drawn[:5]).batches_needed
    assert needed > 5
    assert stability_of(batches(3 * needed, seed=2)).settled


def test_constant_output_stands_still_at_once() -> None:
    assert stability_of([stopping.Batch(3.0, 0.0, 3.0, 3.0)] * 2).settled


def test_batches_added_one_by_one_have_the_moments_of_all_of_them() -> None:
    drawn = batches(7)
    table = np.array([(one.mean, one.sd, one.low, one.high) for one in drawn])
    added = stopping.Batches.of(drawn)
    np.testing.assert_allclose(added.means, table.mean(axis=0), rtol=1e-13)
    np.testing.assert_allclose(added.squares, 7 * table.var(axis=0), rtol=1e-9)


def test_batches_without_figures_are_refused() -> None:
    with pytest.raises(SampleError, match="no batch"):
        stability_of([])
    with pytest.raises(SampleError, match="no finite figures"):
        stability_of([stopping.Batch(math.nan, 1.0, 0.0, 1.0)])


def test_doubt_dealt_out_over_looks_adds_up_to_what_was_asked() -> None:
    doubt = [1 - stopping.confidence_at_look(0.95, look) for look in range(1, 10_000)]
    assert doubt[0] == pytest.approx(0.025)
    assert math.fsum(doubt) == pytest.approx(0.05, rel=1e-3)
    assert math.fsum(doubt) < 0.05


def judged(conforming: int, trials: int, required: float = 0.95, look: int = 1) -> conformance.Conformance:
    return conformance.judge_counts(
        conforming=conforming,
        trials=trials,
        failed=0,
        required=required,
        margin=conformance.Margin(0, 1, -1, 0, 1, 0),
        confidence=stopping.confidence_at_look(0.95, look),
    )


def test_looks() -> None:
    passed, open_, never = judged(990, 1000), judged(955, 1000), judged(950, 1000)
    assert stopping.next_look([passed, passed], 1000, 10**6) == stopping.Look(True, "decided", 1000, ())
    assert stopping.next_look([passed, never], 1000, 10**6).reason == "sampling alone will not decide"
    assert stopping.next_look([passed, open_], 1000, 1000).reason == "cap reached"
    going = stopping.next_look([never, open_], 1000, 10**6)
    assert (going.stop, going.undecided) == (False, (0, 1))
    assert 1500 <= going.samples <= 8000
    assert stopping.next_look([open_], 1000, 1200).samples == 1200


@pytest.mark.long
def test_many_looks_together_keep_the_confidence_asked_for() -> None:
    """True probability at the requirement itself: any verdict comes by chance, and few may come."""
    generator = np.random.default_rng(3)
    wrong, repetitions = 0, 400
    for _ in range(repetitions):
        trials = conforming = 0
        for look in range(1, 9):
            more = 250 * 2 ** (look - 1)
            trials += more
            conforming += int(generator.binomial(more, 0.9))
            verdict = judged(conforming, trials, 0.9, look).verdict
            if verdict != "undecided":
                wrong += 1
                break
    # At most 5 % over all looks together.
    assert wrong / repetitions <= 0.05 + 3 * math.sqrt(0.05 * 0.95 / repetitions)


def test_decided_run_decides_rightly_and_cheaply() -> None:
    generator = np.random.default_rng(4)
    drawn, conforming, look = 500, int(generator.binomial(500, 0.97)), 1
    for look in range(1, 30):
        found = stopping.next_look([judged(conforming, drawn, 0.95, look)], drawn, 10**6)
        if found.stop:
            break
        conforming += int(generator.binomial(found.samples - drawn, 0.97))
        drawn = found.samples
    assert found.reason == "decided"
    assert judged(conforming, drawn, 0.95, look).verdict == "pass"
    assert drawn < 50_000
    assert within(conforming / drawn, 0.97, math.sqrt(0.97 * 0.03 / drawn))
