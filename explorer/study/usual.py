"""``NAME = "usual"``: a coefficient that the builder does not know, drawn from what is usual of such cars."""

from __future__ import annotations

from typing import Any

from explorer.errors import StudyError
from explorer.graph.graph import Graph
from explorer.graph.quantity import Quantity
from explorer.study.catalogue import methods_for

USUAL = "usual"
# Begins the source of such an input, by which it is known again.
ASSUMED = "assumed: what is usual of such cars"


def is_usual(entry: object) -> bool:
    """Tell whether an entry says that the usual range is meant."""
    return isinstance(entry, str) and entry.strip().lower() == USUAL


def usual_entry(quantity: Quantity, graph: Graph, key: str) -> dict[str, Any]:
    """Return the entry that "usual" stands for: a triangle over the range, its top at the typical value.

    Raises
    ------
    StudyError
        When the quantity is measured, chosen or nobody has said what is usual.
    """
    usual = quantity.usual
    if usual is None or usual.typical is None:
        how = next((method["how"] for method in methods_for(graph, quantity.name).values()), None)
        measure = f"measure it ({how.rstrip('.')}) and " if how else ""
        raise StudyError(
            "this is not drawn from what is usual: "
            + ("each day has its own" if quantity.of_the_day else "a car has its own")
            + ", and it can be told",
            key=key,
            found=USUAL,
            allowed=f"a value, such as {usual.low} or {usual.high}" if usual is not None else "a value",
            remedy=f"{measure}write its value with plus or minus; a wide low and high do until then",
        )
    return {
        "low": usual.low,
        "mode": usual.typical,
        "high": usual.high,
        "source": f"{ASSUMED} ({usual.source})",
    }
