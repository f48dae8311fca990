"""Benchmarks: ratios and orders of growth, each taken in one run; `python -m tests.bench` prints them."""
