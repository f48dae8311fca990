"""Statistics on plain arrays: pure functions that return frozen records.

They know neither the study nor the engine.  May import: ``errors``, ``graph.arrays``.
A result that is not good enough says so and still carries its estimate.
To add: one method a file, checked against closed forms or a reference library in ``tests/outside``.
"""
