"""Made-up logs: the roughness is what it says, and files tell that they were made."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from explorer.logs.fitting.coast_down import CoastDownRun, fit_coast_down
from explorer.logs.fitting.fit import Known
from explorer.logs.fitting.input_block import input_block
from explorer.logs.reader import read_log
from tests.statistics_help import within
from tests.synthetic import PERFECT, Roughness, make_coast_down, random_stream, roughened, write_log

TRUTH = {
    "drag_area": 0.012,
    "rolling_resistance": 0.015,
    "mass": 6.0,
    "rotating_mass_factor": 1.05,
    "air_density": 1.2,
}


def test_scatter_outliers_and_fading_are_as_asked() -> None:
    rows = 40_000
    rough = Roughness(noise=0.5, lapse=5.0)
    errors = roughened(np.zeros(rows), rough, random_stream(1))
    # Few independent rows: variance of the sample variance of an autoregression.
    assert within(float(np.std(errors)), 0.5, 0.5 * np.sqrt(10 / (2 * rows)))
    together = float(np.corrcoef(errors[:-1], errors[1:])[0, 1])
    assert together == pytest.approx(np.exp(-1 / 5), abs=0.02)
    wrong = roughened(np.zeros(rows), Roughness(outliers=0.02, outlier_size=3.0), random_stream(2))
    share = float(np.mean(np.abs(wrong) == 3.0))
    assert within(share, 0.02, np.sqrt(0.02 * 0.98 / rows))
    gaps = roughened(np.zeros(1000), Roughness(dropouts=1, dropout_rows=7), random_stream(3))
    assert np.count_nonzero(np.isnan(gaps)) == 7
    assert np.array_equal(roughened(np.arange(5.0), PERFECT, random_stream(4)), np.arange(5.0))


def test_the_same_seed_makes_the_same_log() -> None:
    first, second = (
        make_coast_down(**TRUTH, rough=Roughness(noise=0.1), random=random_stream(9)) for _ in range(2)
    )
    assert np.array_equal(first.speed, second.speed)
    other = make_coast_down(**TRUTH, rough=Roughness(noise=0.1), random=random_stream(10))
    assert not np.array_equal(first.speed, other.speed)


def test_the_whole_way_from_a_file_to_an_input_block(tmp_path: Path) -> None:
    runs = []
    for number, direction in enumerate((1, -1)):
        made = make_coast_down(
            **TRUTH,
            headwind=1.0,
            direction=1 if direction > 0 else -1,
            rough=Roughness(noise=0.15, outliers=0.01, outlier_size=10, dropouts=1),
            random=random_stream(number),
        )
        columns = write_log(
            tmp_path / f"coast-{number}.csv",
            {"time": made.time, "speed": made.speed},
            {"time": "s", "speed": "km/h"},
            truth=TRUTH,
            seed=number,
            date="2026-05-01",
        )
        log = read_log(tmp_path / f"coast-{number}.csv", columns)
        assert log["speed"] == pytest.approx(made.speed, rel=1e-8)
        runs.append(CoastDownRun(log["time"], log["speed"], made.direction, source=log.source))
    fit = fit_coast_down(
        runs,
        mass=Known("mass", 6.0, 0.02, "kg"),
        rotating_mass_factor=Known("rotating_mass_factor", 1.05, 0.01, "1"),
        air_density=Known("air_density", 1.2, 0.01, "kg/m3"),
    )
    assert np.all(np.abs(fit.estimates - [0.012, 0.015]) < 4 * fit.standard_uncertainties)
    text = input_block(fit)
    assert "2 synthetic logs (made, not measured) coast-0.csv, coast-1.csv; 2026-05-01; sha256" in text
    assert "coast-1.csv" in text
