"""Fits: measured logs become estimates with covariance, and those become inputs of a study."""
