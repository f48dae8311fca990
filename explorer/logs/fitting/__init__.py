"""Fits: measured logs become estimates with covariance, and those become inputs of a study."""

from explorer.logs.fitting.battery import fit_battery
from explorer.logs.fitting.bayes import (
    Updated,
    log_likelihood_of_fit,
    normal_log_likelihood,
    reweighted,
    updated_by_chain,
)
from explorer.logs.fitting.coast_down import CoastDownRun, coast_down_inputs, fit_coast_down
from explorer.logs.fitting.derived import Derived, derived
from explorer.logs.fitting.fit import Fit, Known, LackOfFit, Residuals
from explorer.logs.fitting.flap_travel import fit_flap_travel
from explorer.logs.fitting.full_throttle import (
    Resistance,
    ThrottleRun,
    fit_drive_efficiency,
    fit_wheel_power,
)
from explorer.logs.fitting.hinge_pull import fit_hinge_pull
from explorer.logs.fitting.input_block import Contradiction, contradiction, input_block, spread_of
from explorer.logs.fitting.least_squares import fit_curve
from explorer.logs.fitting.problem import Observations, Parameter
from explorer.logs.fitting.readings import fit_readings
from explorer.logs.fitting.ride_height_log import SpeedRun, fit_through_model
from explorer.logs.fitting.scales import fit_scales
from explorer.logs.fitting.spring_test import fit_spring_test
from explorer.logs.fitting.top_speed import fit_top_speed
from explorer.logs.fitting.tyre_radius import fit_tyre_radius

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
