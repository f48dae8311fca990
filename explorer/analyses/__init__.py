"""What is asked of a run's cars: verdicts, what drives them, what measuring is worth, rare failures, sweeps.

One analysis a file: each takes a study and its samples, calls the estimators and returns records for the
results.
May import: ``errors``, ``graph``, ``study``, ``engine``, ``estimators``, ``results``.
Imported by: ``pipeline``, ``design`` and the console.
To add: a file here, its record in ``results``, its stage in ``explorer/pipeline.py``.
"""
