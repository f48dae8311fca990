"""Presents the results of a run as HTML and PDF; computes no physics and no statistics."""

from reports.options import ReportOptions
from reports.rendering import Rendered, render

__all__ = ["Rendered", "ReportOptions", "render"]
