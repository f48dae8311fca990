"""What the page is given to answer "what if" with."""

from __future__ import annotations

import base64
from dataclasses import replace
from typing import Any

import numpy as np
import pandas as pd
import pytest

from explorer.results.stored import Results
from reports.report import Report
from reports.whatif import FEWEST_SAMPLES, LEADING, MOST_NUMBERS, payload
from tests.report_fixture import make_results


def unpacked(column: dict[str, Any]) -> np.ndarray:
    short = np.frombuffer(base64.b64decode(column["packed"]), dtype="<f2").astype(float)
    return column["middle"] + column["step"] * short


def test_columns_come_back_as_they_went_in() -> None:
    results = make_results()
    data = payload(Report(results))
    assert data is not None
    assert results.samples is not None
    load = results.samples["front_axle_load | closed_45"].to_numpy()[: data["samples"]]
    found, bound = unpacked(data["limits"][0]["values"]), data["limits"][0]["low"]
    # Half a unit of the eleventh binary digit of the distance to the limit, and no car on its other side.
    np.testing.assert_allclose(found - bound, load - bound, rtol=2.0**-11)
    assert ((found >= bound) == (load >= bound)).all()
    assert np.isnan(unpacked(data["limits"][0]["values"])).sum() == np.isnan(load).sum() > 0


def test_the_inputs_are_those_that_matter_most() -> None:
    data = payload(Report(make_results()))
    assert data is not None
    names = [entry["name"] for entry in data["inputs"]]
    assert names[0] == "splitter pitch slope"
    assert len(names) == LEADING
    assert "mass" not in names


def test_correlated_inputs_are_weighed_together() -> None:
    """The inverse of [[1, r], [r, 1]] has 1 / (1 - r^2) on its diagonal and -r / (1 - r^2) beside it."""
    data = payload(Report(make_results()))
    assert data is not None
    names = [entry["name"] for entry in data["inputs"]]
    first, second = names.index("splitter pitch slope"), names.index("splitter downforce coefficient")
    precision = np.array(data["precision"])
    assert precision[first, first] == pytest.approx(1 / 0.75)
    assert precision[first, second] == pytest.approx(-0.5 / 0.75)
    other = names.index("rear wheel rate")
    assert precision[other, other] == pytest.approx(1.0)


def test_units_of_all_systems_come_along() -> None:
    data = payload(Report(make_results()))
    assert data is not None
    clearance = data["limits"][3]
    assert [entry["symbol"] for entry in clearance["scales"]] == ["mm", "mm", "mm", "in"]
    assert clearance["scales"][3]["factor"] == pytest.approx(0.0254)


def thinned(results: Results, samples: pd.DataFrame | None) -> Results:
    return replace(results, kept=None if samples is None else {k: samples[k].to_numpy() for k in samples})


def test_without_enough_kept_samples_there_is_nothing_to_ask() -> None:
    results = make_results()
    assert results.samples is not None
    assert payload(Report(thinned(results, None))) is None
    assert payload(Report(thinned(results, results.samples.iloc[: FEWEST_SAMPLES - 1]))) is None
    assert payload(Report(thinned(results, results.samples[["mass"]]))) is None


def test_a_choice_between_a_few_values_is_no_dial() -> None:
    results = make_results()
    assert results.samples is not None
    samples = results.samples.assign(splitter_pitch_slope=np.round(results.samples["splitter_pitch_slope"]))
    data = payload(Report(thinned(results, samples)))
    assert data is not None
    assert "splitter pitch slope" not in [entry["name"] for entry in data["inputs"]]


def test_many_samples_stay_small() -> None:
    results = make_results()
    assert results.samples is not None
    many = pd.concat([results.samples] * 5, ignore_index=True)
    data = payload(Report(thinned(results, many)))
    assert data is not None
    numbers = sum(unpacked(entry["values"]).size for entry in data["limits"] + data["inputs"])
    assert numbers <= MOST_NUMBERS
