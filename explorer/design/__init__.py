"""What to build: candidates compared and free design variables explored, all on the same drawn cars.

``comparison`` sets candidates side by side; ``maps``, ``inverse``, ``search`` and ``highest_speed`` answer
what a study asks of its design space, each over ``evaluator``: one compiled plan, one set of samples, any
build.
May import: ``errors``, ``graph``, ``study``, ``engine``, ``estimators``, ``analyses``, ``results``.
To add: a question in a file of its own, its record in ``results.exploration``, its place in ``exploration``.
"""
