"""The HTML page: one file that works without a network and shows hostile text as text."""

from __future__ import annotations

import base64
import functools
import hashlib
import json
import zlib
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path
from typing import Any

from explorer.graph.written import System
from reports import vega
from reports.blocks import Block, Controls, Figure, Gallery, Heading, Line, Section
from reports.chart_worker import Pictures, pictures
from reports.formatting import count, unparted
from reports.options import SYSTEMS, logo_address
from reports.report import Report
from reports.theme import dark_pictures

HERE = Path(__file__).parent
_WEIGHTS = (("Inter-Regular.woff2", 400), ("Inter-SemiBold.woff2", 600))


@functools.cache
def environment(folder: Path = HERE / "templates", *, trim: bool = False) -> Any:
    """Return the environment of a folder's templates: all is escaped; lines of tags alone go if trimmed."""
    from jinja2 import Environment, FileSystemLoader, StrictUndefined

    made = Environment(
        loader=FileSystemLoader(folder),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=trim,
        lstrip_blocks=trim,
    )
    made.filters["unparted"] = unparted
    return made


def asset(*parts: str) -> str:
    """Read a style or script of the package."""
    return HERE.joinpath(*parts).read_text(encoding="utf-8")


@functools.cache
def font_faces() -> str:
    """Return the style that brings the fonts along, with their licence."""
    faces = [f"/*!\n{asset('fonts', 'OFL.txt')}*/"]
    for name, weight in _WEIGHTS:
        address = base64.b64encode((vega.FONTS / name).read_bytes()).decode("ascii")
        faces.append(
            f"@font-face {{ font-family: Inter; font-weight: {weight}; "
            f'src: url("data:font/woff2;base64,{address}") format("woff2"); }}'
        )
    return "\n".join(faces)


def figures(sections: Sequence[Section]) -> list[Figure]:
    """List every figure in the order of the page."""
    found: list[Figure] = []
    for section in sections:
        for block in section.blocks:
            if isinstance(block, Figure):
                found.append(block)
            elif isinstance(block, Gallery):
                found.extend(block.figures)
    return found


def anchors(sections: Sequence[Section]) -> set[str]:
    """List every address that a link may go to."""
    headings = {
        block.anchor
        for section in sections
        for block in section.blocks
        if isinstance(block, Heading) and block.anchor
    }
    return {section.id for section in sections} | {figure.name for figure in figures(sections)} | headings


def imprint(report: Report) -> str:
    """Say in one line which run this is."""
    made = report.summary.reproduction
    return (
        f"Study {made.study_sha256[:12]} · seed {made.seed} · {count(made.samples)} samples · "
        f"squatline {made.version}"
    )


def page(report: Report, sections: Sequence[Section], drawn: Pictures | None = None) -> str:
    """Write the page.

    Parameters
    ----------
    report:
        The results and the reader's choices.
    sections:
        What to print, in order.
    drawn:
        Pictures that are being drawn already.
    """
    from markupsafe import Markup

    shown = figures(sections)
    drawn = drawn or pictures(shown, report.options.units)
    style = "\n".join(
        [font_faces(), asset("style", "common.css"), asset("style", "page.css"), dark_pictures()]
    )
    library = drawn.script()
    scripts = [asset("script", "csv.js"), vega.notice() + asset("script", "page.js")]
    if any(isinstance(block, Controls) for section in sections for block in section.blocks):
        scripts.append(asset("script", "whatif.js"))
    framed = {figure.name: _picture(figure, drawn, report.options.units) for figure in shown}
    return str(
        environment()
        .get_template("page.html")
        .render(
            **shared(report, sections, framed),
            systems=SYSTEMS,
            policy=policy([style], [library, *scripts]),
            style=Markup(style),
            scripts=[Markup(script) for script in scripts],
            library=_packed(library),
            charts=_packed(json.dumps({figure.name: _choices(figure) for figure in shown if figure.draw})),
        )
    )


def fragment(blocks: Iterable[Block], units: System) -> Any:
    """Write blocks without pictures as a piece of another page."""
    return _piece("{%- for one in of %}{{ block(one) }}{% endfor -%}", tuple(blocks), units)


def fragment_of_line(line: Line, units: System) -> Any:
    """Write a line as a piece of another page."""
    return _piece("{%- for one in of %}{{ part(one) }}{% endfor -%}", line, units)


@functools.cache
def _template_of(loop: str) -> Any:
    head = '{%- set form = "html" -%}{%- from "blocks.html" import block, part with context -%}'
    return environment().from_string(head + loop)


def _piece(loop: str, of: Sequence[Any], units: System) -> Any:
    from markupsafe import Markup

    return Markup(_template_of(loop).render(of=of, system=units, anchors=set()))


def shared(report: Report, sections: Sequence[Section], framed: Mapping[str, Any]) -> dict[str, Any]:
    """Return what both forms hand to their templates."""
    return {
        "summary": report.summary,
        "options": report.options,
        "sections": sections,
        "anchors": anchors(sections),
        "system": report.options.units,
        "logo": logo_address(report.options.logo),
        "imprint": imprint(report),
        "picture": lambda figure: framed[figure.name],
    }


def policy(styles: Sequence[str], scripts: Sequence[str]) -> str:
    """Write the content security policy: only what this very page brings may run, and nothing is fetched."""
    return (
        f"default-src 'none'; script-src {' '.join(map(_fingerprint, scripts))}; "
        f"style-src {' '.join(map(_fingerprint, styles))}; img-src data:; font-src data:; "
        "base-uri 'none'; form-action 'none'"
    )


def _fingerprint(text: str) -> str:
    return f"'sha256-{base64.b64encode(hashlib.sha256(text.encode()).digest()).decode('ascii')}'"


def _picture(figure: Figure, drawn: Pictures, units: System) -> Any:
    """Put a still picture in its frame; what it shows is said by the frame."""
    from markupsafe import Markup, escape

    if figure.draw:
        inside = Markup('<div aria-hidden="true">{}</div>').format(Markup(drawn.of(figure)))
        return Markup('<div class="picture" role="img" aria-label="{}" data-chart="{}">{}</div>').format(
            figure.spoken(units), figure.name, inside
        )
    system = SYSTEMS.index(units)
    variants: dict[tuple[str, str], list[int]] = {}
    for position, (drawing, of) in enumerate(zip(figure.drawings, SYSTEMS, strict=True)):
        variants.setdefault((figure.spoken(of), drawing), []).append(position)
    return Markup("").join(
        Markup('<div class="picture" role="img" aria-label="{}" data-system="{}"{}>{}</div>').format(
            spoken,
            " ".join(map(str, used)),
            Markup("" if system in used else " hidden"),
            Markup(drawing),
        )
        for (spoken, drawing), used in variants.items()
    ) or escape("")


def _packed(text: str) -> str:
    """Pack what makes the charts live: a fraction of its size, and no text of anybody's among the markup."""
    return base64.b64encode(zlib.compress(text.encode(), 9)).decode("ascii")


def _choices(figure: Figure) -> Mapping[str, Any]:
    """Keep charts that are alike in two systems of units once."""
    charts = figure.charts
    kept = {id(chart): chart for chart in charts}
    places = list(kept)
    return {"specifications": list(kept.values()), "order": [places.index(id(chart)) for chart in charts]}
