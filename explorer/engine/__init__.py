"""Drawing cars and pushing them through the graph: sampling, plans, where chunks are computed, what is kept.

``sampling`` draws streams keyed by input name, ``plan`` evaluates chunks, ``execution``, ``processes`` and
``packing`` bring them to other processes and machines, ``streaming`` adds up statistics, ``montecarlo`` is
the main run, ``checkpoint`` and ``storage`` keep what is finished, by its ``fingerprint``, ``replay`` looks
at its samples again.
May import: ``errors``, ``graph``, ``study``, ``estimators``.
Imported by: analyses, design, logs, the pipeline.
To add: an executor in ``execution``; a statistic that merges chunk by chunk in ``streaming``.
"""
