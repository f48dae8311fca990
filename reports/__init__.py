"""Presents the results of a run as HTML and PDF; computes no physics and no statistics."""
