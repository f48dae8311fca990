"""What the reader chooses about a report: paper, units, sections, cover words and a logo."""

from __future__ import annotations

import base64
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

from explorer.errors import RenderError, unknown, with_key
from explorer.files.characters import require_visible
from explorer.files.reading import Wanted
from explorer.graph.written import System

Paper = Literal["A4", "Letter"]
Form = Literal["html", "pdf"]
Purpose = Literal["record", "review", "strip"]

PAPERS: tuple[Paper, ...] = ("A4", "Letter")
SYSTEMS: tuple[System, ...] = ("as given", "metric", "metric km/h", "imperial")
FORMS: tuple[Form, ...] = ("html", "pdf")
PURPOSES: tuple[Purpose, ...] = ("record", "review", "strip")
LOGO = Wanted(
    "logo", 300_000, missing="name a picture", otherwise="save a smaller picture", raising=RenderError
)
# First bytes by which a picture is told, whatever its name says.
_SIGNATURES = {"image/png": b"\x89PNG\r\n\x1a\n", "image/jpeg": b"\xff\xd8\xff"}


@dataclass(frozen=True)
class ReportOptions:
    """Choices about a report.

    Attributes
    ----------
    paper:
        Size of the printed page.
    units:
        "as given" keeps the builder's; the HTML page can be switched by its reader afterwards.
    purpose:
        "record" has everything, "review" leaves out models and statistics, "strip" is one sheet to write on.
    leave_out:
        Ids of sections not to print (``reports.sections.SECTIONS`` lists them).
    cover_text:
        Words of the builder's own under the title.
    logo:
        A PNG, JPEG or SVG file, drawn at the top of the first page.
    """

    paper: Paper = "A4"
    units: System = "as given"
    purpose: Purpose = "record"
    leave_out: tuple[str, ...] = ()
    cover_text: str = ""
    logo: Path | None = None

    def checked(self, sections: tuple[str, ...]) -> ReportOptions:
        """Return the same options, or say which one is out of its range."""
        require_visible({"cover_text": self.cover_text}, RenderError)
        _one_of("paper", self.paper, PAPERS)
        _one_of("units", self.units, SYSTEMS)
        _one_of("purpose", self.purpose, PURPOSES)
        for name in self.leave_out:
            _one_of("leave_out", name, sections)
        return self


def checked_forms(forms: tuple[str, ...]) -> tuple[str, ...]:
    """Return the forms in which a report can be written, or say which one is not known."""
    for form in forms:
        _one_of("forms", form, FORMS)
    return forms


def _one_of(key: str, found: str, allowed: tuple[str, ...]) -> None:
    if found not in allowed:
        raise unknown("the report has no such choice", found, allowed, key, raising=RenderError)


def logo_address(path: Path | None) -> str | None:
    """Read a logo into a data address, so that the report needs no file beside it.

    Raises
    ------
    RenderError
        When the file cannot be read, is larger than allowed, or is no PNG, JPEG or SVG picture.
    """
    if path is None:
        return None
    with with_key("logo"):
        content = LOGO.read(path)
    kind = _picture_kind(content)
    if kind is None:
        raise RenderError(
            "the logo is not a picture that can be used",
            file=str(path),
            key="logo",
            allowed="a PNG, JPEG or SVG file",
        )
    return f"data:{kind};base64,{base64.b64encode(content).decode('ascii')}"


def _picture_kind(content: bytes) -> str | None:
    for kind, signature in _SIGNATURES.items():
        if content.startswith(signature):
            return kind
    return "image/svg+xml" if b"<svg" in content[:2000] else None
