"""What a run found: typed records, written to and read from the results folder; and the standing cautions.

May import: ``errors``, ``estimators``, ``files``, ``graph``, ``study``, what the engine keeps.
Imported by: analyses, design, logs, console, reports.
To add: a record (frozen, with units in its docstring) and the field of the summary that holds it.
"""
