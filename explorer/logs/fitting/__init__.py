"""Measured logs become estimates with covariance, which become inputs of a study: one kind of test a file.

Pure functions on arrays, mostly through ``least_squares.fit_curve``, that return a ``fit.Fit``.
May import: ``errors``, ``files``, ``graph``.  Imported by: the rest of ``logs``, and the desk through it.
To add: a file with the estimator; ``logs.kinds`` makes it known to studies.
"""
