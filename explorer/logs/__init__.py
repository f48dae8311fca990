"""Measured logs: read, fitted into inputs (``fit``), and held against predictions (``validate``).

``reader`` and ``named_logs`` read a file as the study names it; ``fitting`` estimates from arrays;
``kinds`` says what a ``[fits]`` section asks for; ``fits`` and ``fit_writing`` bring estimates back into a
study; ``logged_runs`` and ``validation`` lay a logged run into its predicted band.
May import: ``errors``, ``graph``, ``study``, ``engine``, ``estimators``, ``analyses``, ``results``.
To add: an estimator in ``fitting``, the way to ask for it in ``kinds``.
"""
