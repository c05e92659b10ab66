"""The picture tells its cases apart without colour."""

import re
from dataclasses import replace
from xml.etree import ElementTree

import pytest

from consult.letters.charts import (
    NARROW,
    Chart,
    PictureRow,
    PictureWords,
    Point,
    axis_for,
)
from consult.letters.ground import BAND_COLOURS, BAND_TEXT_COLOURS
from consult.letters.picture import before_after_svg, findings_svg

SVG = "{http://www.w3.org/2000/svg}"
WORDS = PictureWords(
    title="Before and after",
    before="before",
    after="after",
    found="measured",
    interval="95 % interval",
    target="target",
    rose="rose",
    at_least="reduction at least",
    not_comparable="not comparable",
)
FALL = PictureRow(
    "bed head", "Bedroom", True, Point(48, 42, 54), Point(2.4, 2.0, 2.8), "95.0 %", "(94.0 to 95.9)"
)
RISE = replace(FALL, after=Point(70, 60, 80), reduction="rose by 46 %", interval="", rose=True)
AT_LEAST = replace(FALL, after=Point(0.3, 0, 0.3, "<"), reduction="at least 98 %", at_least=True)
NOT_COMPARABLE = replace(FALL, reduction="not comparable", interval="", comparable=False)


def chart(*rows: PictureRow) -> Chart:
    return Chart(
        name="Electric field, ground-referenced",
        unit="V/m",
        bounds=(1.0, 5.0, 50.0),
        band_words=("no anomaly", "slight anomaly", "severe anomaly", "extreme anomaly"),
        limit=5.0,
        limit_text="5 V/m",
        rows=rows,
    )


def drawn(*rows: PictureRow) -> ElementTree.Element:
    return ElementTree.fromstring(before_after_svg(chart(*rows), WORDS))


def of_rows(root: ElementTree.Element, kind: str) -> list[ElementTree.Element]:
    """Marks of a class inside the rows; the legend is left out."""
    rows = [group for group in root.iter(f"{SVG}g") if group.get("class") == "row"]
    return [mark for row in rows for mark in row.iter() if mark.get("class") == kind]


def counts(root: ElementTree.Element) -> dict[str, int]:
    return {kind: len(of_rows(root, kind)) for kind in ("ring", "disc", "at-least", "fall", "rise")}


def texts(root: ElementTree.Element) -> list[str]:
    return ["".join(text.itertext()) for text in root.iter(f"{SVG}text")]


def test_a_fall_is_a_ring_a_disc_and_one_line() -> None:
    root = drawn(FALL)
    assert counts(root) == {"ring": 1, "disc": 1, "at-least": 0, "fall": 1, "rise": 0}
    assert len(of_rows(root, "fall")[0]) == 1
    assert of_rows(root, "ring")[0].get("fill") == "#ffffff"
    assert of_rows(root, "disc")[0].get("fill") == "#1d2429"
    assert "rose" not in texts(root)


def test_a_rise_is_a_double_line_with_its_word() -> None:
    root = drawn(RISE)
    assert counts(root) == {"ring": 1, "disc": 1, "at-least": 0, "fall": 0, "rise": 1}
    assert len(of_rows(root, "rise")[0]) == 2
    assert texts(root).count("rose") == 2  # at the end of the line, and in the legend


def test_at_least_is_an_open_arrowhead_instead_of_the_disc() -> None:
    root = drawn(AT_LEAST)
    assert counts(root) == {"ring": 1, "disc": 0, "at-least": 1, "fall": 1, "rise": 0}
    assert of_rows(root, "at-least")[0].get("fill") == "none"


def test_not_comparable_is_rings_only() -> None:
    root = drawn(NOT_COMPARABLE)
    assert counts(root) == {"ring": 2, "disc": 0, "at-least": 0, "fall": 0, "rise": 0}
    assert "not comparable" in texts(root)


def test_a_spot_of_one_visit_only_has_one_mark() -> None:
    assert counts(drawn(replace(NOT_COMPARABLE, after=None)))["ring"] == 1
    assert counts(drawn(replace(NOT_COMPARABLE, before=None)))["ring"] == 1


def test_marks_stand_where_a_log_scale_puts_them() -> None:
    axis = axis_for(chart(FALL))
    # Equal ratios are equal distances: 1 to 5 is as far as 10 to 50.
    assert axis.x(5.0) - axis.x(1.0) == pytest.approx(axis.x(50.0) - axis.x(10.0), rel=1e-9)
    ring = of_rows(drawn(FALL), "ring")[0]
    assert float(ring.get("cx", "0")) == pytest.approx(axis.x(48.0), abs=0.01)


def test_whiskers_run_over_the_interval() -> None:
    axis = axis_for(chart(FALL))
    before, after = of_rows(drawn(FALL), "interval")
    line = before[0]
    assert float(line.get("x1", "0")) == pytest.approx(axis.x(42.0), abs=0.01)
    assert float(line.get("x2", "0")) == pytest.approx(axis.x(54.0), abs=0.01)
    assert float(after[0].get("x1", "0")) == pytest.approx(axis.x(2.0), abs=0.01)


def test_an_interval_that_reaches_zero_ends_inside_the_plot() -> None:
    row = replace(FALL, after=Point(0.4, 0.0, 0.9))
    axis = axis_for(chart(row))
    line = of_rows(drawn(row), "interval")[1][0]
    assert float(line.get("x1", "0")) == pytest.approx(axis.x(axis.low), abs=0.01)


def test_the_target_is_a_line_over_the_full_height_with_its_value() -> None:
    root = drawn(FALL, RISE)
    (line,) = [mark for mark in root.iter(f"{SVG}line") if mark.get("class") == "target"]
    assert float(line.get("y2", "0")) - float(line.get("y1", "0")) > 2 * 26
    assert line.get("stroke") == "#1d2429"
    assert "target 5 V/m" in texts(root)


def test_bands_have_words_and_a_hatch_that_grows_denser() -> None:
    root = drawn(FALL, RISE, AT_LEAST)
    assert texts(root).count("anomaly") == 4
    hatches = [mark for mark in root.iter(f"{SVG}path") if mark.get("class") == "hatch"]
    assert len(hatches) == 3  # the first band has none
    axis = axis_for(chart(FALL, RISE, AT_LEAST))
    ends = [*chart().bounds, axis.high]
    density = [
        hatch.get("d", "").count("M") / (axis.x(right) - axis.x(left))
        for hatch, left, right in zip(hatches, ends, ends[1:], strict=False)
    ]
    assert density == sorted(density)
    assert density[0] * 1.5 < density[2]


def test_rows_are_drawn_in_the_order_in_which_they_are_given() -> None:
    """The letter's table has the same order; no picture sorts anew."""
    desk = replace(FALL, spot="desk", sleeping=False)
    svg = before_after_svg(chart(desk, FALL, replace(RISE, spot="worse")), WORDS)
    places = [svg.index(f">{spot}<") for spot in ("desk", "bed head", "worse")]
    assert places == sorted(places)


def test_no_style_no_script_no_foreign_part() -> None:
    svg = before_after_svg(chart(FALL, RISE, AT_LEAST, NOT_COMPARABLE), WORDS)
    for forbidden in ("style", "<script", "foreignObject", "filter", "href", " on"):
        assert forbidden not in svg.replace(" on ", ""), forbidden


def test_it_has_a_title_and_says_each_row_in_words() -> None:
    root = drawn(FALL, RISE)
    assert root[0].tag == f"{SVG}title"
    assert root[0].text == "Before and after: Electric field, ground-referenced [V/m]"
    said = root[1].text or ""
    assert "Bedroom, bed head: before 48 V/m, after 2.4 V/m, 95.0 %, (94.0 to 95.9)." in said
    assert "rose by 46 %" in said


def test_texts_are_escaped() -> None:
    row = replace(FALL, spot="<b>&\"'", room="</svg><script>")
    svg = before_after_svg(chart(row), WORDS)
    ElementTree.fromstring(svg)
    assert "<script" not in svg
    assert "&lt;b&gt;&amp;" in svg


def test_the_same_rows_give_the_same_picture() -> None:
    rows = (FALL, RISE, AT_LEAST, NOT_COMPARABLE)
    assert before_after_svg(chart(*rows), WORDS) == before_after_svg(chart(*rows), WORDS)


def test_the_axis_uses_the_decimal_mark() -> None:
    low = replace(chart(FALL), bounds=(0.3, 1.5, 10.0), limit=1.5, limit_text="1,5 V/m")
    svg = before_after_svg(low, replace(WORDS, decimal_mark=","))
    assert ">0,3<" in svg
    assert ">0.3<" not in svg


def test_one_visit_is_drawn_with_discs_only() -> None:
    root = ElementTree.fromstring(findings_svg(chart(replace(FALL, before=None)), WORDS))
    assert counts(root) == {"ring": 0, "disc": 1, "at-least": 0, "fall": 0, "rise": 0}
    assert "measured" in texts(root)
    assert "before" not in texts(root)


def luminance(colour: str) -> float:
    """Relative luminance (WCAG 2.2)."""
    parts = [int(pair, 16) / 255 for pair in re.findall("..", colour.lstrip("#"))]
    linear = [p / 12.92 if p <= 0.04045 else ((p + 0.055) / 1.055) ** 2.4 for p in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


@pytest.mark.parametrize("band", range(4))
def test_band_words_are_readable_on_their_colour(band: int) -> None:
    pair = sorted((luminance(BAND_COLOURS[band]), luminance(BAND_TEXT_COLOURS[band])))
    assert (pair[1] + 0.05) / (pair[0] + 0.05) >= 4.5


def test_on_a_phone_everything_stands_inside_its_width() -> None:
    rows = (FALL, RISE, AT_LEAST, NOT_COMPARABLE, replace(FALL, after=Point(0.001, 0, 0.002)))
    root = ElementTree.fromstring(before_after_svg(chart(*rows), WORDS, layout=NARROW))
    assert counts(root) == counts(drawn(*rows))
    for mark in root.iter():
        for side in ("x", "x1", "x2", "cx"):
            assert 0.0 <= float(mark.get(side, "0")) <= NARROW.width, ElementTree.tostring(mark)
    legend = next(group for group in root.iter(f"{SVG}g") if group.get("class") == "legend")
    heights = [float(word.get("y", "0")) for word in legend.iter(f"{SVG}text")]
    assert len(heights) == 6
    assert heights == sorted(heights)
    assert heights[0] < heights[-1] < float(root.get("height", "0"))  # on more than one line


def test_on_a_phone_a_row_is_named_above_its_marks() -> None:
    root = ElementTree.fromstring(before_after_svg(chart(FALL), WORDS, layout=NARROW))
    (row,) = (group for group in root.iter(f"{SVG}g") if group.get("class") == "row")
    words = {"".join(text.itertext()): text for text in row.iter(f"{SVG}text")}
    marks = [float(mark.get("cy", "0")) for mark in row.iter(f"{SVG}circle")]
    assert all(float(text.get("y", "0")) < min(marks) - 4 for text in words.values())
    assert words["bed head"].get("text-anchor") == "start"
    assert words["95.0 %"].get("text-anchor") == "end"
    assert float(words["95.0 %"].get("x", "0")) == NARROW.width
