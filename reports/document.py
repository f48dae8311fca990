"""The PDF: the same content, tagged, with an outline, and the same bytes for the same results."""

from __future__ import annotations

import base64
import contextlib
import logging
import os
import warnings
from collections.abc import Sequence
from datetime import UTC, datetime
from typing import Any

from explorer.errors import RenderError
from reports import vega
from reports.blocks import Figure, Section
from reports.options import SYSTEMS
from reports.page import asset, environment, figures, font_faces, shared
from reports.report import Report

_DATE = "%Y-%m-%dT%H:%M:%SZ"
INSTALL = (
    "install Pango 1.44 or later with its HarfBuzz and Fontconfig libraries "
    "(Debian and Ubuntu: apt install libpango-1.0-0 libpangoft2-1.0-0 libharfbuzz-subset0; "
    "macOS: brew install pango), then draw the report again with 'squatline report'"
)


def document(report: Report, sections: Sequence[Section]) -> bytes:
    """Write the PDF.

    Raises
    ------
    RenderError
        When the PDF library cannot work on this machine; the message says what to install.

    """
    weasyprint = _library()
    sections = [section for section in sections if section.printed]
    pictures = {figure.name: _picture(figure, report) for figure in figures(sections)}
    made = report.summary.reproduction
    html = str(_html(report, sections, pictures))
    finished: bytes = (
        weasyprint.HTML(string=html, base_url=None, url_fetcher=_fetcher())
        .render()
        .write_pdf(
            pdf_variant="pdf/ua-1",
            pdf_identifier=f"{made.study_sha256}{made.seed}{made.version}".encode()[:64],
            custom_metadata=False,
        )
    )
    return finished


def _library() -> Any:
    try:
        with warnings.catch_warnings():
            # The library warns of an older helper it can do without.
            warnings.simplefilter("ignore", DeprecationWarning)
            import weasyprint
    except (ImportError, OSError) as error:
        raise RenderError(
            "the PDF cannot be drawn on this machine",
            found=str(error).splitlines()[0],
            remedy=INSTALL,
        ) from None
    logging.getLogger("weasyprint").setLevel(logging.ERROR)
    logging.getLogger("fontTools").setLevel(logging.ERROR)
    return weasyprint


def _fetcher() -> Any:
    from weasyprint.urls import FatalURLFetchingError, URLFetcher

    class DataOnly(URLFetcher):  # type: ignore[misc]  # the library ships no types
        """Serves data addresses and refuses everything else."""

        def fetch(self, url: str, headers: Any = None) -> Any:
            if not url.startswith("data:"):
                raise FatalURLFetchingError(f"a report fetches nothing: {url[:80]}")
            return super().fetch(url, headers)

    return DataOnly()


def _html(report: Report, sections: Sequence[Section], pictures: dict[str, Any]) -> str:
    from markupsafe import Markup

    style = "\n".join(
        [
            font_faces(),
            asset("style", "common.css"),
            asset("style", "document.css").replace("PAPER", report.options.paper),
        ]
    )
    text: str = (
        environment()
        .get_template("document.html")
        .render(
            **shared(report, sections, pictures),
            created=_created(report),
            style=Markup(style),
        )
    )
    return text


def _created(report: Report) -> str:
    """Date of the document: that of the results, or SOURCE_DATE_EPOCH where it is set."""
    epoch = os.environ.get("SOURCE_DATE_EPOCH", "")
    if epoch.isdigit():
        return datetime.fromtimestamp(int(epoch), UTC).strftime(_DATE)
    created = report.summary.reproduction.created
    for written in (_DATE, "%Y-%m-%d %H:%M UTC"):
        with contextlib.suppress(ValueError):
            return datetime.strptime(created, written).strftime(_DATE)
    return created


def _picture(figure: Figure, report: Report) -> Any:
    from markupsafe import Markup

    system = SYSTEMS.index(report.options.units)
    drawing = vega.svg(figure.charts[system], figure.name) if figure.charts else figure.drawings[system]
    address = base64.b64encode(drawing.encode()).decode("ascii")
    return Markup('<img alt="{}" src="data:image/svg+xml;base64,{}">').format(figure.alternative, address)
