"""Measured logs become estimates with covariance, which become inputs of a study: one kind of test a file.

Pure functions on arrays, mostly through ``least_squares.fit_curve``, that return a ``fit.Fit``.
"""
