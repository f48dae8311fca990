"""Fits: measured logs become estimates with covariance, and those become inputs of a study."""

from explorer.fitting.battery import fit_battery
from explorer.fitting.bayes import (
    Updated,
    log_likelihood_of_fit,
    normal_log_likelihood,
    reweighted,
    updated_by_chain,
)
from explorer.fitting.coast_down import CoastDownRun, coast_down_inputs, fit_coast_down
from explorer.fitting.derived import Derived, derived
from explorer.fitting.fit import Fit, Known, LackOfFit, Residuals
from explorer.fitting.flap_travel import fit_flap_travel
from explorer.fitting.full_throttle import Resistance, ThrottleRun, fit_drive_efficiency, fit_wheel_power
from explorer.fitting.hinge_pull import fit_hinge_pull
from explorer.fitting.input_block import Contradiction, contradiction, input_block, spread_of
from explorer.fitting.least_squares import fit_curve
from explorer.fitting.problem import Observations, Parameter
from explorer.fitting.readings import fit_readings
from explorer.fitting.ride_height_log import SpeedRun, fit_through_model
from explorer.fitting.scales import fit_scales
from explorer.fitting.spring_test import fit_spring_test
from explorer.fitting.top_speed import fit_top_speed
from explorer.fitting.tyre_radius import fit_tyre_radius

__all__ = [
    "CoastDownRun",
    "Contradiction",
    "Derived",
    "Fit",
    "Known",
    "LackOfFit",
    "Observations",
    "Parameter",
    "Residuals",
    "Resistance",
    "SpeedRun",
    "ThrottleRun",
    "Updated",
    "coast_down_inputs",
    "contradiction",
    "derived",
    "fit_battery",
    "fit_coast_down",
    "fit_curve",
    "fit_drive_efficiency",
    "fit_flap_travel",
    "fit_hinge_pull",
    "fit_readings",
    "fit_scales",
    "fit_spring_test",
    "fit_through_model",
    "fit_top_speed",
    "fit_tyre_radius",
    "fit_wheel_power",
    "input_block",
    "log_likelihood_of_fit",
    "normal_log_likelihood",
    "reweighted",
    "spread_of",
    "updated_by_chain",
]
