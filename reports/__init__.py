"""Presents the results of a run as HTML and PDF; computes no physics and no statistics.

``sections`` turn a summary into ``blocks``; ``page``, ``document`` and ``terminal`` draw those, ``charts*``
and ``drawings`` their pictures, and ``formatting`` writes numbers.
May import: records and words of ``explorer``.  Imported by: the command line and the desk.
To add: a sentence to its section, a picture to ``charts*``.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from reports.options import ReportOptions
    from reports.rendering import Rendered, render

__all__ = ["Rendered", "ReportOptions", "render"]

# Imported on first use, so that a process that only draws charts loads nothing else.
_LATER = {
    "Rendered": "reports.rendering",
    "ReportOptions": "reports.options",
    "render": "reports.rendering",
}


def __getattr__(name: str) -> Any:
    if name in _LATER:
        import importlib

        return getattr(importlib.import_module(_LATER[name]), name)
    raise AttributeError(f"module 'reports' has no attribute {name!r}")
