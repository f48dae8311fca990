"""Quantities and how they hang together: the decorators, the graph, the list of calls made from it, tables.

A quantity is one small function; its parameters are the quantities it needs (``quantity``).  ``graph`` orders
them and says what is missing, ``program`` turns that into numbered calls, each value
computed once; ``units`` reads and writes numbers with units, ``words`` keeps sentences that hold some,
``tables`` reads a grid of measured values.
May import: ``errors``.  Imported by: everything.  Nothing here knows a study, a sample or a report.
To add: a property that every quantity has goes into ``quantity``; a way of asking the graph into ``graph``.
"""
