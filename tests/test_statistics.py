"""Which test proves each 95 % interval that is printed, and each error of the decision that was mended."""

from __future__ import annotations

import ast
from pathlib import Path

import pytest

ROOT = Path(__file__).parent
#: Interval or chance as it is printed -> simulations that count how often it holds the truth.
PRINTED = {
    "share of cars that meet a limit, and all at once": (
        "outside/test_intervals.test_exact_interval_covers_at_least_as_often_as_it_says",
        "estimators/test_conformance.test_replicate_interval_covers_as_often_as_it_says",
        "estimators/test_stopping.test_many_looks_together_keep_the_confidence_asked_for",
    ),
    "how sure a limit is, and what is surely reached": (
        "estimators/test_two_levels.test_interval_holds_the_truth_at_least_95_times_in_100",
    ),
    "ignorance or the day": ("estimators/test_between_cars.test_intervals_cover",),
    "what drives a limit: in all, alone, together": (
        "estimators/test_sensitivity.test_intervals_cover_as_often_as_they_say",
        "estimators/test_sensitivity.test_intervals_hold_the_truth_where_an_input_has_few_readings",
        "analyses/test_sensitivity.test_intervals_hold_the_truth_where_only_what_may_lead_is_drawn_further",
        "outside/test_given_data.test_intervals_of_300_samples_of_correlated_inputs_hold_their_shares",
    ),
    "what a step of a lever moves, and an input from low to high": (
        "design/test_levers.test_intervals_cover",
    ),
    "what measuring is worth, how often a verdict turns and passes": (
        "estimators/test_measuring.test_intervals_of_passes_and_turns_hold_the_truth_or_are_wider_than_they_"
        "need_be",
    ),
    "failures too rare to count": (
        "estimators/test_rare.test_intervals_of_300_searches_hold_the_truth_95_times_in_100",
        "estimators/test_rare.test_count_and_estimate_that_are_both_right_hardly_ever_contradict",
    ),
    "value at which a limit turns: speeds, questions, settings": (
        "estimators/test_conformance.test_the_surplus_is_known_as_well_as_it_says",
    ),
    "candidates: better in so many cars, best of all, worth of knowing": (
        "estimators/test_paired_comparison.test_intervals_of_1000_comparisons_hold_the_truth_95_times_in_100",
        "estimators/test_paired_comparison.test_of_many_equal_pairs_none_is_called_surer_in_nineteen_comparisons_"
        "of_twenty",
    ),
    "fits": (
        "logs/test_fit_workshop.test_intervals_of_300_spring_tests_hold_the_rate_95_times_in_100",
        "logs/test_fit_workshop.test_intervals_of_300_weighings_hold_the_truth_95_times_in_100",
        "logs/test_fit_workshop.test_intervals_of_1000_pulls_and_readings_hold_the_truth_95_times_in_100",
        "logs/test_fit_workshop.test_flap_travel_is_recovered_in_spite_of_jitter",
        "logs/test_fit_coast_down.test_intervals_of_500_synthetic_logs_hold_the_truth_95_times_in_100",
        "logs/test_fit_coast_down.test_intervals_hold_the_truth_where_the_wind_varies",
        "logs/test_fit_track.test_intervals_of_300_runs_hold_the_power_and_the_efficiency",
        "logs/test_fit_track.test_intervals_of_300_runs_hold_the_top_speed_95_times_in_100",
        "logs/test_fit_track.test_intervals_of_300_batteries_and_tyres_hold_the_truth_95_times_in_100",
        "logs/test_fit_track.test_intervals_of_300_ride_height_logs_hold_the_wing_95_times_in_100",
        "logs/test_fits.test_a_study_fits_as_the_estimator_does",
    ),
    "logged runs: points in the band, chance, error of a model": (
        "logs/test_validation.test_coverage_over_many_runs_is_that_of_the_band",
        "logs/test_validation.test_a_right_model_is_doubted_no_more_often_than_said",
        "logs/test_model_errors.test_interval_holds_the_true_error_at_least_95_times_in_100",
    ),
}
#: What was once wrong -> tests that failed on it.
ONCE_WRONG = {
    "measurements were weighed for a threshold of one half": (
        "outside/test_value_of_measuring.test_the_loss_of_a_verdict_at_its_threshold",
        "estimators/test_measuring.test_the_order_follows_the_required_probability",
    ),
    "page one, the section and the list told different things to do": (
        "results/test_actions.test_page_one_the_section_and_the_terminal_have_the_same_list",
        "results/test_actions.test_what_must_not_be_run_comes_first_and_more_cars_last",
    ),
    "a share of spread was sold as a lever": (
        "results/test_actions.test_a_share_of_spread_is_no_lever",
        "design/test_levers.test_only_what_can_be_set_is_a_lever",
    ),
    "chance to pass where the margin is the smaller of two": (
        "outside/test_value_of_measuring.test_a_margin_that_is_the_smaller_of_two_against_a_nested_monte_carlo",
    ),
    "intervals of passes and turns too short": (
        "estimators/test_measuring.test_intervals_of_passes_and_turns_hold_the_truth_or_are_wider_than_they_"
        "need_be",
    ),
    "indices of an input with few readings": (
        "estimators/test_sensitivity.test_intervals_hold_the_truth_where_an_input_has_few_readings",
        "analyses/test_sensitivity.test_few_readings_are_ranked_by_place_and_said",
    ),
    "logs whose scatter repeats called unexplained": (
        "logs/test_validation.test_a_right_model_is_doubted_no_more_often_than_said",
    ),
    "an abrupt second way to fail, and its note printed nowhere": (
        "estimators/test_rare.test_an_abrupt_second_way_to_fail_is_told_by_the_count",
        "analyses/test_rare_failures.test_what_the_run_counted_is_held_against_the_search",
        "reports/test_loop.test_how_seldom_a_limit_fails_and_the_car_that_does",
    ),
    "crash with one failing sample": ("test_unfinished.test_a_single_failing_sample_gives_an_estimate",),
    "order in which correlated inputs are written": (
        "analyses/test_rare_failures.test_the_way_to_the_failure_is_shared_alike_in_whatever_order_inputs_are_"
        "correlated",
    ),
    "cars without an answer told as rows": (
        "estimators/test_sensitivity.test_cars_without_an_answer_are_counted_as_cars_and_what_drives_them_is_"
        "ranked",
    ),
    "one of equal builds called surer": (
        "estimators/test_paired_comparison.test_of_many_equal_pairs_none_is_called_surer_in_nineteen_comparisons_"
        "of_twenty",
    ),
    "wind of each run": (
        "logs/test_fit_coast_down.test_a_wind_of_its_own_for_each_run_makes_a_useful_log_of_it",
        "logs/test_fit_coast_down.test_intervals_hold_the_truth_where_the_wind_varies",
    ),
    "short spring tests": (
        "logs/test_fit_workshop.test_few_readings_allow_for_errors_that_repeat",
        "logs/test_fit_workshop.test_a_first_reading_at_no_load_does_not_bend_a_line_with_friction",
    ),
    "risks of consumer and producer that were 1 - p and p": (
        "reports/test_first_page.test_guard_bands_are_no_second_name_of_what_is_required",
    ),
}


@pytest.mark.parametrize("said", [*PRINTED, *ONCE_WRONG])
def test_each_test_that_is_named_is_there(said: str) -> None:
    for name in {**PRINTED, **ONCE_WRONG}[said]:
        file, _, test = name.partition(".")
        tree = ast.parse((ROOT / f"{file}.py").read_text(encoding="utf-8"))
        assert test in {one.name for one in tree.body if isinstance(one, ast.FunctionDef)}, name
