"""The PDF: the same content, tagged, with an outline, and the same bytes for the same results."""

from __future__ import annotations

import contextlib
import io
import logging
import os
import warnings
from collections.abc import Callable, Mapping, Sequence
from datetime import UTC, datetime
from functools import partial
from typing import Any

from explorer.errors import RenderError
from explorer.graph.written import System
from reports.blocks import Figure, Section
from reports.chart_worker import Pictures, pictures
from reports.options import SYSTEMS
from reports.page import asset, environment, figures, font_faces, shared
from reports.report import Report

# Put before a figure's name: the address under which the PDF library asks for its picture.
_SCHEME = "picture:"
_DATE = "%Y-%m-%dT%H:%M:%SZ"
INSTALL = (
    "install Pango 1.44 or later with its HarfBuzz and Fontconfig libraries "
    "(Debian and Ubuntu: apt install libpango-1.0-0 libpangoft2-1.0-0 libharfbuzz-subset0; "
    "macOS: brew install pango), then draw the report again with 'squatline report'"
)


def document(report: Report, sections: Sequence[Section], drawn: Pictures | None = None) -> bytes:
    """Write the PDF.

    Parameters
    ----------
    report:
        The results and the reader's choices.
    sections:
        What to print, in order.
    drawn:
        Pictures that are being drawn already; they are waited for as late as can be.

    Raises
    ------
    RenderError
        When the PDF library cannot work on this machine; the message says what to install.
    """
    weasyprint = _library()
    sections = [section for section in sections if section.printed]
    shown = figures(sections)
    fetched = _fetched(shown, drawn or pictures(shown, report.options.units), report.options.units)
    made = report.summary.reproduction
    html = _html(report, sections, {figure.name: _frame(figure, report.options.units) for figure in shown})
    try:
        finished: bytes = (
            weasyprint.HTML(string=html, base_url=None, url_fetcher=_fetcher(fetched))
            .render()
            .write_pdf(
                pdf_variant="pdf/ua-1",
                pdf_identifier=f"squatline {made.study_sha256}{made.seed}{made.version}".encode()[:64],
                custom_metadata=False,
            )
        )
    except weasyprint.urls.FatalURLFetchingError as stopped:
        # A picture that cannot be drawn is told as what it is; the library would go on without it.
        raise stopped.__cause__ or stopped from None
    return finished


def _library() -> Any:
    try:
        # The library warns of a helper it can do without, and prints a page of its own on what it lacks.
        with warnings.catch_warnings(), contextlib.redirect_stdout(io.StringIO()):
            warnings.simplefilter("ignore", DeprecationWarning)
            import weasyprint
    except (ImportError, OSError) as error:
        lacking = str(error).partition(":")[0].splitlines()[0]
        raise RenderError(f"the PDF was not drawn ({lacking}): {INSTALL}") from None
    logging.getLogger("weasyprint").setLevel(logging.ERROR)
    logging.getLogger("fontTools").setLevel(logging.ERROR)
    return weasyprint


def _fetcher(fetched: Mapping[str, Callable[[], str]]) -> Any:
    from weasyprint.urls import FatalURLFetchingError, URLFetcher, URLFetcherResponse

    class DataOnly(URLFetcher):  # type: ignore[misc]  # the library ships no types
        """Serves pictures of this report and data addresses, and refuses everything else."""

        def fetch(self, url: str, headers: Any = None) -> Any:
            if url in fetched:
                return URLFetcherResponse(url, fetched[url]().encode(), {"Content-Type": "image/svg+xml"})
            if not url.startswith("data:"):
                raise FatalURLFetchingError(f"a report fetches nothing: {url[:80]}")
            return super().fetch(url, headers)

    return DataOnly(fail_on_errors=True)


def _html(report: Report, sections: Sequence[Section], framed: Mapping[str, Any]) -> str:
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
            **shared(report, sections, framed),
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


def _fetched(shown: Sequence[Figure], drawn: Pictures, units: System) -> dict[str, Callable[[], str]]:
    """Return the way to every picture, by the address under which it is asked for."""
    position = SYSTEMS.index(units)
    return {
        f"{_SCHEME}{figure.name}": partial(drawn.of, figure)
        if figure.draw
        else partial(str, figure.drawings[position])
        for figure in shown
    }


def _frame(figure: Figure, units: System) -> Any:
    from markupsafe import Markup

    return Markup('<img alt="{}" src="{}">').format(figure.spoken(units), f"{_SCHEME}{figure.name}")
