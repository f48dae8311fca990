"""Charts and drawings: valid, complete, and readable without colour."""

from __future__ import annotations

import math
import re
from collections.abc import Iterator
from dataclasses import replace
from itertools import pairwise
from typing import Any
from xml.etree import ElementTree

import altair as alt
import pytest

from explorer.graph.labels import begun, label
from explorer.graph.written import SPACE
from reports import vega
from reports.blocks import Section
from reports.charts import Bar, Mark, ShadedBand, distribution, fan, share_bars, spread_apart
from reports.charts_of_limits import LimitRow, limit_rows
from reports.charts_of_runs import NamedLine, lines
from reports.drawings.linkage import can_draw, chains, linkage_view
from reports.drawings.sheet import Sheet, nice_length
from reports.drawings.sideview import can_draw as can_draw_car
from reports.drawings.sideview import describe, exaggeration, largest_force, side_view
from reports.page import asset, figures, page
from reports.report import Report
from reports.sections import design as design_section
from reports.sections import sections
from reports.sections.sideview import PAGE_ONE
from reports.sections.sweeps import _steepest
from reports.terminal import words
from reports.theme import ACCENT, ALARM, BAND, DARK, INK, QUIET, STROKES
from tests.mechanism_help import FLAPS, THREE_FLAPS, ask
from tests.report_analyses import design, with_findings
from tests.report_fixture import HOSTILE, make_results

CAR = {
    "wheelbase": 0.325,
    "cg_station": 0.172,
    "cg_height": 0.05,
    "pitch": math.radians(2.0),
    "front_compression": -0.001,
    "rear_compression": 0.012,
    "weight": 45.1,
    "front_axle_load": -3.0,
    "rear_axle_load": 90.0,
    "front_downforce": -24.0,
    "rear_downforce": 66.0,
    "drag_force": 40.0,
    "wing_station": 0.4,
    "wing_height": 0.16,
    "flap_opening": 0.0,
    "edge_station": 0.38,
    "edge_clearance_at_rest": 0.012,
}


def rows_of(chart: dict[str, Any], layer: dict[str, Any]) -> list[dict[str, Any]]:
    """Return the data a layer draws."""
    rows: list[dict[str, Any]] = chart["datasets"][layer["data"]["name"]]
    return rows


@pytest.fixture(scope="module")
def parts() -> list[Section]:
    """Return the sections of a report; each of their charts is made once."""
    return sections(Report(make_results()))


@pytest.mark.long
def test_every_chart_of_a_report_fits_the_schema(parts: list[Section]) -> None:
    """The Vega-Lite schema as altair brings it."""
    shown = [figure for figure in figures(parts) if figure.charts]
    assert len(shown) > 8
    for figure in shown:
        alt.Chart.from_dict(dict(figure.charts[0]), validate=True)


def _light(colour: str) -> float:
    """Relative luminance, as WCAG 2.2 defines it."""
    parts = [int(colour[place : place + 2], 16) / 255 for place in (1, 3, 5)]
    red, green, blue = (
        part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in parts
    )
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def _contrast(first: str, second: str) -> float:
    low, high = sorted((_light(first), _light(second)))
    return (high + 0.05) / (low + 0.05)


def test_what_carries_data_stands_out_on_light_and_dark_paper() -> None:
    """WCAG 2.2, 1.4.11: 3:1 against what lies beside it."""
    for seen in ({}, DARK):
        of = {colour: seen.get(colour, colour) for colour in (BAND, INK, ACCENT, ALARM, QUIET, "#ffffff")}
        for colour in (BAND, INK, ACCENT, ALARM, *(stroke for stroke, *_ in STROKES)):
            assert _contrast(of[colour], of["#ffffff"]) >= 3
        assert _contrast(of[BAND], of[INK]) >= 3


def test_every_colour_of_the_pictures_has_its_own_on_a_dark_page(parts: list[Section]) -> None:
    text = page(Report(make_results()), parts)
    drawn = "".join(re.findall(r"<svg\b.*?</svg>", text, re.DOTALL))
    colours = set(re.findall(r'(?:fill|stroke)="([^"]+)"', drawn)) - {"none"}
    assert len(colours) > 5
    assert colours <= DARK.keys()
    assert f'.picture [fill="{INK}"] {{ fill: {DARK[INK]}; }}' in text


def test_a_limit_is_drawn_on_its_own_curve_at_its_own_speed(parts: list[Section]) -> None:
    drawn = figures(parts)
    (figure,) = [one for one in drawn if one.name == "sweep-front-axle-load-speed"]
    rows = [row for rows in figure.charts[0]["datasets"].values() for row in rows if "label" in row]
    places = {(row["x"], row["y"], row["label"]) for row in rows}
    # The fixture asks 5 N at 45 m/s closed, 10 N at 55 m/s open; the curves are drawn in m/s.
    assert places == {(45.0, 5.0, "at least 5 N"), (55.0, 10.0, "at least 10 N")}
    (other,) = [one for one in drawn if one.name == "sweep-pitch-speed"]
    assert not [row for rows in other.charts[0]["datasets"].values() for row in rows if "label" in row]


def test_every_limit_and_its_inputs_stand_in_one_matrix(parts: list[Section]) -> None:
    summary = make_results().summary
    (figure,) = [one for one in figures(parts) if one.name == "limits-by-inputs"]
    rows = [row for rows in figure.charts[0]["datasets"].values() for row in rows]
    first = summary.limits[0]
    assert first.sensitivity is not None
    shares = {" ".join(row["name"].split()): row["share"] for row in rows if row["limit"] == first.name}
    for index in first.sensitivity.indices[:3]:
        assert shares[begun(label(index.name))] == round(100 * index.total.value)
    assert {row["limit"] for row in rows} == {limit.name for limit in summary.limits}
    assert "The splitter pitch slope answers for a fifth or more of the spread of 3 of 4 limits" in "".join(
        map(str, figure.caption)
    )


def test_the_axis_of_a_difference_says_so(parts: list[Section]) -> None:
    (figure,) = [one for one in figures(parts) if one.name == "limit-worth-the-trouble"]
    axes = {
        layer["encoding"]["x"]["title"]
        for layer in figure.charts[0]["layer"]
        if "title" in layer.get("encoding", {}).get("x", {})
    }
    assert axes == {"difference in top speed [km/h]"}


def test_a_bin_is_cut_where_the_limit_runs_through_it() -> None:
    chart = distribution([0, 1, 2], [10, 30], axis="x", good=(1.5, math.inf), marks=[Mark(1.5, "limit")])
    rows = rows_of(chart, chart["layer"][0])
    assert [(row["from"], row["to"], row["side"]) for row in rows] == [
        (0, 1, "does not"),
        (1, 1.5, "does not"),
        (1.5, 2, "conforms"),
    ]
    assert [row["share"] for row in rows] == [25, 75, 75]


def test_conditions_differ_by_dash_and_not_by_colour_alone() -> None:
    assert len({dash for _, dash, _, _ in STROKES}) == len(STROKES)
    assert len({mark for _, _, _, mark in STROKES}) == len(STROKES)


def test_lines_are_named_where_they_end_and_names_do_not_overlap() -> None:
    bands = [
        ShadedBand(name, [0, 1], [0, 1], [1, 2], [2, level])
        for name, level in (("closed", 3.0), ("open", 3.1))
    ]
    chart = fan(bands, x_axis="speed", y_axis="load")
    names = [rows_of(chart, layer)[0] for layer in chart["layer"] if layer["mark"]["type"] == "text"]
    assert {row["name"] for row in names} == {"closed", "open"}
    assert abs(names[0]["y"] - names[1]["y"]) > 0.2


def test_names_of_two_lines_at_the_ends_of_curves_do_not_overlap() -> None:
    names = ("resistance, flap closed", "resistance, flap open", "push, flap closed", "push, flap open")
    ends = (80.0, 79.0, 70.0, 69.0)
    drawn = [NamedLine(name, [5.0, 60.0], [2.0, end]) for name, end in zip(names, ends, strict=True)]
    root = ElementTree.fromstring(vega.svg(lines(drawn, x_axis="speed", y_axis="force", width=664), "x"))
    heights = []
    for text in root.iter("{http://www.w3.org/2000/svg}text"):
        if not "".join(text.itertext()).startswith(("resistance", "push")):
            continue
        place = re.search(r"translate\([^,]+,([^)]+)\)", text.attrib["transform"])
        assert place is not None
        heights.append(float(place[1]))
        heights += [heights[-1] + float(part.attrib["dy"]) for part in text if "dy" in part.attrib]
    assert len(heights) == 5
    assert min(later - sooner for sooner, later in pairwise(sorted(heights))) >= 11


def test_pictures_stand_alone() -> None:
    chart = share_bars(
        [Bar("a", 0.5, 0.4, 0.6, 0.3), Bar(HOSTILE, 0.2, -0.1, 0.3)], axis="share [%]", inner="alone"
    )
    first, second = vega.svg(chart, "one"), vega.svg(chart, "two")
    root = ElementTree.fromstring(first)
    assert not [element for element in root.iter() if "style" in element.attrib]
    assert not [element for element in root.iter() if element.tag.endswith("script")]
    ids = {element.attrib["id"] for element in root.iter() if "id" in element.attrib}
    other = {e.attrib["id"] for e in ElementTree.fromstring(second).iter() if "id" in e.attrib}
    assert not ids & other
    # A long name is broken into two lines, so blanks do not count.
    assert "".join(HOSTILE[:40].split()) in "".join("".join(root.itertext()).split())


def test_a_side_view_holds_every_force_and_says_what_is_lifted() -> None:
    assert can_draw_car(CAR)
    svg = side_view(
        CAR, ("edge",), system="metric", display={}, factor=exaggeration([CAR]), longest=largest_force([CAR])
    )
    words = " ".join(ElementTree.fromstring(svg).itertext())
    for expected in (
        "weight 45",
        "front lift 24",
        "rear downforce 66",
        "drag 40",
        "front tyres lifted",
        "rear tyres carry 90",
    ):
        assert expected in words.replace("\N{NO-BREAK SPACE}", " ")
    assert "nose up 2.0°" in words
    assert "bar tilted 10 times as far" in words
    spoken = "".join(
        part if isinstance(part, str) else part.text("metric") for part in describe(CAR, "closed", {})
    )
    assert "front lift 24" in spoken.replace("\N{NO-BREAK SPACE}", " ")


def test_a_car_without_pitch_is_not_drawn() -> None:
    assert not can_draw_car({**CAR, "pitch": None})


def test_the_links_of_the_drawing_close() -> None:
    """Horn pin to arm pin is the rod: the same length in both positions, as the models have it."""
    lengths = {flap: float(ask(f"{flap}_rod_length")[f"{flap}_rod_length"]) for flap in FLAPS}
    for opening in (0.0, 1.0):
        turned = ask("servo_angle", *(f"{flap}_angle" for flap in FLAPS), flap_opening=opening)
        values = {
            **THREE_FLAPS,
            **{f"{flap}_horn_offset": 0.0 for flap in FLAPS},
            **{name: float(value) for name, value in turned.items()},
        }
        assert can_draw(values, FLAPS)
        shown = chains(values, FLAPS)
        for flap, chain in zip(FLAPS, shown, strict=True):
            assert math.dist(chain.horn, chain.arm) == pytest.approx(lengths[flap], rel=1e-9)
            assert math.dist(chain.leading, chain.trailing) == pytest.approx(
                values[f"{flap}_chord"], rel=1e-9
            )
        svg = linkage_view(shown, shown, None, system="imperial", display={})
        assert "upper flap" in " ".join(ElementTree.fromstring(svg).itertext())


def test_a_study_without_elements_has_no_linkage() -> None:
    assert not can_draw(CAR, ())
    assert not can_draw(CAR, FLAPS)


def test_words_on_a_drawing_are_text() -> None:
    sheet = Sheet(10, 10, 1, 0, 0)
    sheet.text((0, 0), HOSTILE)
    root = ElementTree.fromstring(sheet.svg())
    assert [element.tag.split("}")[1] for element in root.iter()] == ["svg", "text"]
    assert "".join(root.itertext()) == HOSTILE


@pytest.mark.parametrize(("longest", "nice"), [(0.13, 0.1), (0.25, 0.2), (0.5, 0.5), (9.9, 5.0), (1.0, 1.0)])
def test_scale_bars_are_round(longest: float, nice: float) -> None:
    assert nice_length(longest) == pytest.approx(nice)


def bars_of(
    edges: list[float], counts: list[float], limit: float
) -> tuple[dict[str, Any], list[dict[str, Any]]]:
    """Return how the bars of a histogram are drawn, and the bars."""
    chart = distribution(
        edges, counts, axis="x", good=(limit, math.inf), marks=[Mark(limit, f"limit {limit:g}")]
    )
    (layer,) = [one for one in chart["layer"] if one["mark"]["type"] == "rect"]
    (rows,) = [rows for rows in chart["datasets"].values() if "share" in rows[0]]
    return layer["mark"], rows


def test_bins_far_from_their_limit_are_not_swallowed_by_their_edges() -> None:
    near, _ = bars_of([1.0, 2.0, 3.0, 4.0], [1, 2, 1], 2.5)
    far, _ = bars_of([1.0, 1.01, 1.02, 1.03], [1, 2, 1], 20.0)
    assert near["stroke"] == "white"
    assert far["stroke"] is None


def test_cars_that_are_all_alike_are_one_bar_that_can_be_seen() -> None:
    for limit, side in ((1.0, "conforms"), (2.0, "does not")):
        _, (bar,) = bars_of([1.0, 1.0], [500], limit)
        assert bar["to"] - bar["from"] == pytest.approx(0.1)
        assert (bar["share"], bar["side"]) == (100.0, side)


def test_long_names_of_bars_are_broken_into_two_lines() -> None:
    long = "bump height (flaps closed, 45 m/s, over a bump in the strip and on)"
    chart = share_bars([Bar(long, 0.5, 0.4, 0.6), Bar("mass", 0.1, 0.0, 0.2)], axis="share [%]")
    (rows,) = chart["datasets"].values()
    assert [row["name"].count("\n") for row in rows] == [1, 0]
    assert rows[0]["name"].replace("\n", " ") == long.replace("45 ", "45\N{NO-BREAK SPACE}")


def test_letters_of_page_one_can_be_read_on_paper() -> None:
    """Six points at least, in the car and in the picture of seventeen limits, at the height they print at."""
    style = asset("style", "document.css")
    car = side_view(
        CAR, (), system="metric", display={}, factor=1, longest=largest_force([CAR]), letters=PAGE_ONE
    )
    rows = tuple(
        LimitRow(
            f"Front wheels stay down behind another car, number {place}",
            "pass",
            "all",
            False,
            1.0,
            2.0,
            3.0,
            1.5,
        )
        for place in range(17)
    )
    for name, drawing in (("sideview-worst", car), ("limits", vega.svg(limit_rows(rows), "a"))):
        found = re.search(rf"#{name} img {{ max-height: (\d+)mm", style)
        assert found is not None
        root = ElementTree.fromstring(drawing)
        points = float(found[1]) / float(root.attrib["height"]) / (25.4 / 72)
        letters = [one.attrib["font-size"] for one in root.iter() if "font-size" in one.attrib]
        assert min(float(size.removesuffix("px")) for size in letters) * points >= 6


def test_names_are_moved_apart_around_where_they_belong() -> None:
    assert spread_apart([5.0, 1.0], [2.0, 2.0], 0.0) == [5.0, 1.0]
    assert spread_apart([5.0, 5.0], [2.0, 2.0], 0.0) == [4.0, 6.0]
    # One with two lines takes more room, and none ends below the axis.
    assert spread_apart([0.0, 0.5, 9.0], [4.0, 2.0, 2.0], 0.0) == [2.0, 5.0, 9.0]


def test_letters_have_one_size_in_charts_of_one_width() -> None:
    """A picture wider than its place is made smaller with all its letters."""
    band = ShadedBand("flaps closed, in the wake of the car ahead", [1.0, 2.0], [0.0, 1], [1.0, 2], [2.0, 3])
    bars = [Bar("an input with a name so long that it takes two lines", 0.5, 0.4, 0.6)]
    charts = (fan([band], x_axis="speed", y_axis="pitch"), share_bars(bars, axis="share [%]"))
    assert {re.findall(r'viewBox="0 0 (\d+)', vega.svg(chart, "x"))[0] for chart in charts} == {"664"}


def test_captions_of_sweeps_begin_with_the_curve_that_changes_most() -> None:
    report = Report(make_results())
    found = next(one for one in figures(sections(report)) if one.name == "sweep-pitch-speed")
    said = [one if isinstance(one, str) else one.text("as given") for one in found.caption]
    # The pitch grows with the square of the speed, by 2.6e-5 rad.
    assert "".join(said).startswith(f"The largest rise is {math.degrees(2.6e-5 * (60**2 - 10**2)):.2f}°")


@pytest.mark.parametrize(
    ("middle", "words"),
    [
        ((4.0, 2.0, 1.0, 3.0), "The largest fall is 3.00 N from 0 m/s to 20 m/s"),
        ((1.0, 2.0, 4.0, 3.0), "The largest rise is 3.00 N from 0 m/s to 20 m/s"),
        ((2.0, 2.0, 2.0, 2.0), "The median car does not change with the speed. "),
    ],
)
def test_a_curve_that_turns_is_told_by_its_largest_change(middle: tuple[float, ...], words: str) -> None:
    report = Report(make_results())
    turning = replace(
        report.summary.sweeps[0], unit="N", display_unit="N", x=(0.0, 10.0, 20.0, 30.0), middle=middle
    )
    said = "".join(
        one if isinstance(one, str) else one.text("as given") for one in _steepest(report, [turning])
    )
    assert said.replace(SPACE, " ").startswith(words)


def encodings(chart: Any) -> Iterator[dict[str, Any]]:
    """Yield what each layer of a chart, or of charts in it, lays along its axes and in its colours."""
    if isinstance(chart, dict):
        if "encoding" in chart:
            yield chart["encoding"]
        for inner in chart.values():
            yield from encodings(inner)
    elif isinstance(chart, list):
        for inner in chart:
            yield from encodings(inner)


def test_numbers_of_an_axis_stand_at_their_ticks(parts: list[Section]) -> None:
    """The library moves the first and the last inwards, off the ticks that they name, unless it is told."""
    shown = [figure.charts[0] for figure in figures(parts) if figure.charts]
    assert len(shown) > 8
    for chart in shown:
        assert chart["config"]["axis"]["labelFlush"] is False
        for encoding in encodings(chart):
            axes = [encoding[side].get("axis") or {} for side in ("x", "y") if side in encoding]
            assert not any(axis.get("labelFlush") for axis in axes)


def test_a_map_has_a_key_for_its_shades_and_its_line() -> None:
    section = design_section.build(Report(with_findings(design=design(make_results()))))
    assert section is not None
    (figure,) = [one for one in figures([section]) if one.name == "map-spring-and-wing"]
    keys = [
        one["color"].get("legend") for one in encodings(figure.charts[0]) if "field" in one.get("color", {})
    ]
    assert [key["title"] for key in keys if key] == [["all limits", "met [%]"]]
    assert "The heavy line runs where the estimate just reaches what is required" in words(figure.caption)
