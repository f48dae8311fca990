"""What logs changed, how seldom a limit fails, and a logged run that is not explained."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from explorer.results import Results
from tests.report_analyses import validation
from tests.report_fixture import make_results
from tests.test_reports_content import Reader, written

BELIEF = {"words": "normal, mean 2.60 N/mm, sd 0.25 N/mm", "source": "judged"}
FOUND = {"words": "normal, mean 2.446 N/mm, sd 0.020 N/mm", "source": "rear spring log"}


def with_extra(**extra: Any) -> Results:
    results = make_results()
    return replace(results, summary=replace(results.summary, extra=extra))


def fits(log: object) -> dict[str, Any]:
    changed = {"quantity": "rear_wheel_rate", "before": BELIEF, "after": FOUND}
    inputs = [changed | {"moved_by": -0.6, "narrowed_to": 0.08}]
    return {
        "headline": "1 input comes from a log",
        "files": [{"file": "f.toml", "inputs": inputs, "log": log}],
    }


def first_page(reader: Reader) -> str:
    return reader.text[: reader.text.index("Compliance matrix")]


def test_an_input_from_a_log_shows_before_and_after() -> None:
    reader = written(with_extra(fits=fits({"kind": "spring_test"})))
    for words in ("1 input comes from a log.", BELIEF["words"], FOUND["words"], "-0.6", "8"):
        assert words in reader.text
    assert "No record of a fit" not in reader.text


def test_a_file_without_its_record_is_named() -> None:
    assert "No record of a fit goes with f.toml" in written(with_extra(fits=fits(None))).text


def test_a_run_that_is_not_explained_stands_on_the_first_page() -> None:
    records = [
        one | {"explains": False, "headline": "pitch against speed leaves the band"} for one in validation()
    ]
    assert "pitch against speed leaves the band" in first_page(written(with_extra(validation=records)))


def test_a_run_that_is_explained_does_not() -> None:
    records = [one | {"explains": True} for one in validation()]
    assert "is not explained" not in first_page(written(with_extra(validation=records)))


def test_how_seldom_a_limit_fails_and_the_car_that_does() -> None:
    culprit = {
        "key": "rear_wheel_rate",
        "value": 2100.0,
        "nominal": 2600.0,
        "unit": "N/m",
        "display_unit": "N/mm",
    }
    record = {"limit": "stays level", "words": "about 1 car in 9 200 fails", "probability": 1e-4}
    reader = written(with_extra(rare=[record | {"culprits": [culprit]}]))
    for words in (
        "Failures too rare to count",
        "About 1 car in 9 200 fails.",
        "rear wheel rate",
        "instead of",
    ):
        assert words in reader.text
