"""Drawings to scale, as SVG, from the nominal values of a run."""
