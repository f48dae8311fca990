"""Whether figures stand still: many samples settle them, few do not, and what it takes is said."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from explorer.figures import standing_figures
from explorer.montecarlo import run_montecarlo
from explorer.study import load_study

Writer = Callable[..., Path]


def test_more_samples_settle_more_figures(small_study: Writer) -> None:
    study = load_study(small_study())
    few = standing_figures(run_montecarlo(study, samples=20_000))
    many = standing_figures(run_montecarlo(study, samples=1_000_000))
    assert few["open"] == ["front_static_load | rest"]
    assert few["samples_needed"] > 40_000
    assert "would take about" in few["words"]
    assert many["settled"] == ["front_static_load | rest"]
    assert many["words"].startswith("the figures of all 1 outputs")


def test_one_batch_says_nothing(small_study: Writer) -> None:
    assert standing_figures(run_montecarlo(load_study(small_study()), samples=15_000)) == {}
