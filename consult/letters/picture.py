"""The picture of before and after: one panel per measurand, drawn as SVG for page and paper alike.

Every colour and font stands in an attribute, because the style sheet of a page does not reach a
picture inside a PDF and a strict content policy refuses inline styles.
"""

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from xml.sax.saxutils import escape

from consult.letters.marks import (
    INK,
    PAPER,
    RADIUS,
    SECOND_INK,
    attribute,
    chevron,
    connection,
    disc,
    n,
    open_arrow,
    plain,
    ring,
    text,
)

RULE = "#d9d6cd"
BAND_COLOURS = ("#e3e9ee", "#b4c4d2", "#567490", "#1f3a54")
BAND_TEXT_COLOURS = (INK, INK, "#ffffff", "#ffffff")
BAND_TINTS = ("#fafbfc", "#f1f4f7", "#e6ecf1", "#dae2ea")
HATCH_STEPS = (0.0, 13.0, 7.5, 4.2)  # distance of the hatch lines: none, then denser by each band

WIDTH = 660.0
PLOT_LEFT = 150.0
PLOT_RIGHT = 520.0
HEADER_TOP = 24.0
HEADER_HEIGHT = 24.0
TARGET_HEIGHT = 14.0
ROW_HEIGHT = 26.0
AXIS_HEIGHT = 18.0
LEGEND_HEIGHT = 20.0
OFFSET = 4.5  # before stands a little above the middle of its row, after a little below
LABEL_CHARACTERS = 27


@dataclass(frozen=True)
class Point:
    """A value with its 95 % interval, or with a qualifier where the meter found no end."""

    value: float
    low: float
    high: float
    qualifier: str = ""


@dataclass(frozen=True)
class PictureRow:
    """One spot; texts are printed as they are given."""

    spot: str
    room: str
    sleeping: bool
    before: Point | None
    after: Point | None
    reduction: str = ""
    interval: str = ""
    rose: bool = False
    at_least: bool = False
    comparable: bool = True
    decision: str = ""


@dataclass(frozen=True)
class Panel:
    """One measurand with its own scale."""

    name: str
    unit: str
    bounds: tuple[float, float, float]
    band_words: tuple[str, str, str, str]
    limit: float
    limit_text: str
    rows: tuple[PictureRow, ...]
    identifier: str = "panel"


@dataclass(frozen=True)
class PictureWords:
    """The words of the picture in the reader's language, and its decimal mark."""

    title: str
    before: str
    after: str
    found: str
    interval: str
    target: str
    rose: str
    at_least: str
    not_comparable: str
    decimal_mark: str = "."


@dataclass(frozen=True)
class Axis:
    """A logarithmic scale between two values of the unit."""

    low: float
    high: float

    def x(self, value: float) -> float:
        """Place of a value, kept inside the plot."""
        kept = min(max(value, self.low), self.high)
        share = math.log(kept / self.low) / math.log(self.high / self.low)
        return PLOT_LEFT + share * (PLOT_RIGHT - PLOT_LEFT)


def before_after_svg(panel: Panel, words: PictureWords, *, font: str = "Source Serif 4") -> str:
    """Before and after at every spot of one measurand."""
    return _picture(panel, words, font, single=False)


def findings_svg(panel: Panel, words: PictureWords, *, font: str = "Source Serif 4") -> str:
    """The values of one visit, given as `after` of each row."""
    return _picture(panel, words, font, single=True)


def sorted_rows(panel: Panel) -> list[PictureRow]:
    """Sleeping spots first, then after over the limit, the worst first; unmeasured ones last."""

    def key(row: PictureRow) -> tuple[bool, bool, float]:
        after = row.after.value / panel.limit if row.after else 0.0
        return (not row.sleeping, row.after is None, -after)

    return sorted(panel.rows, key=key)


def axis_for(panel: Panel) -> Axis:
    """A scale that shows all four bands and every point."""
    low, high = panel.bounds[0] / 3.5, panel.bounds[2] * 3.0
    for point in _points(panel.rows):
        if point.value > 0.0:
            low = min(low, point.value / 1.6)
        if point.low > low / 3.0:  # an interval that reaches towards zero is cut at the edge
            low = min(low, point.low / 1.1)
        high = max(high, point.high * 1.3, point.value * 1.6)
    return Axis(low, high)


def _points(rows: Iterable[PictureRow]) -> list[Point]:
    return [point for row in rows for point in (row.before, row.after) if point is not None]


def _picture(panel: Panel, words: PictureWords, font: str, *, single: bool) -> str:
    rows = sorted_rows(panel)
    axis = axis_for(panel)
    top = HEADER_TOP + HEADER_HEIGHT + TARGET_HEIGHT
    bottom = top + ROW_HEIGHT * len(rows)
    height = bottom + AXIS_HEIGHT + LEGEND_HEIGHT
    title = f"{words.title}: {panel.name} [{panel.unit}]"
    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {n(WIDTH)} {n(height)}" '
        f'width="{n(WIDTH)}" height="{n(height)}" role="img" '
        f'font-family="{attribute(font)}, serif" font-size="10" fill="{INK}">',
        f"<title>{escape(title)}</title>",
        f"<desc>{escape(_description(panel, rows, words, single=single))}</desc>",
        f'<rect width="{n(WIDTH)}" height="{n(height)}" fill="{PAPER}"/>',
        text(0, 14, f"{panel.name} [{panel.unit}]", size=11, weight=600),
        _bands(panel, axis, bottom),
        _target(panel, axis, bottom, words),
        _scale(panel, axis, bottom, words.decimal_mark),
    ]
    for index, row in enumerate(rows):
        parts.append(_row(row, axis, top + ROW_HEIGHT * index, words, single=single))
    parts += [_legend(rows, height - 6.0, words, single=single), "</svg>"]
    return "".join(parts)


def _description(
    panel: Panel, rows: Sequence[PictureRow], words: PictureWords, *, single: bool
) -> str:
    """The picture in sentences, for a reader who hears it."""
    sentences = [f"{words.target}: {panel.limit_text}."]
    for row in rows:
        values = [
            f"{word} {_quantity(point, panel.unit, words)}"
            for word, point in ((words.before, row.before), (words.after, row.after))
            if point is not None and not (single and word == words.before)
        ]
        said = [row.reduction, row.interval, row.decision]
        tail = ", ".join(part for part in [*values, *said] if part)
        sentences.append(f"{row.room}, {row.spot}: {tail}.")
    return " ".join(sentences)


def _quantity(point: Point, unit: str, words: PictureWords) -> str:
    mark = f"{point.qualifier} " if point.qualifier else ""
    return f"{mark}{plain(point.value, words.decimal_mark)} {unit}"


def _bands(panel: Panel, axis: Axis, bottom: float) -> str:
    """Pale columns with their words on top and a hatch that grows denser."""
    ends = [axis.low, *panel.bounds, axis.high]
    parts = []
    for index in range(4):
        left, right = axis.x(ends[index]), axis.x(ends[index + 1])
        width, top = right - left, HEADER_TOP + HEADER_HEIGHT
        parts.append(
            f'<rect x="{n(left)}" y="{n(HEADER_TOP)}" width="{n(width)}" '
            f'height="{n(HEADER_HEIGHT)}" fill="{BAND_COLOURS[index]}"/>'
            f'<rect x="{n(left)}" y="{n(top)}" width="{n(width)}" '
            f'height="{n(bottom - top)}" fill="{BAND_TINTS[index]}"/>'
        )
        hatch = _hatch(left, top, right, bottom, HATCH_STEPS[index])
        if hatch:
            parts.append(
                f'<path class="hatch" d="{hatch}" stroke="{BAND_COLOURS[2]}" '
                f'stroke-opacity="0.3" stroke-width="0.45" fill="none"/>'
            )
        parts.append(_band_words(panel.band_words[index], (left + right) / 2, index))
    return "".join(parts)


def _band_words(words: str, middle: float, index: int) -> str:
    """The band's name in one or two short lines."""
    lines = words.split(" ", 1)
    first = HEADER_TOP + (10.5 if len(lines) == 2 else 15.0)
    written = "".join(
        text(
            middle, first + 9.0 * place, line, size=8.5, anchor="middle",
            fill=BAND_TEXT_COLOURS[index],
        )
        for place, line in enumerate(lines)
    )  # fmt: skip
    return f'<g class="band-words">{written}</g>'


def _hatch(left: float, top: float, right: float, bottom: float, step: float) -> str:
    """Slanting lines inside a rectangle, as one path; without a step there are none."""
    if not step:
        return ""
    pieces = []
    start = left + step / 2 - (bottom - top)
    while start < right:
        # The line runs from (start, bottom) up to (start + height, top); cut it at both sides.
        x1, x2 = max(start, left), min(start + bottom - top, right)
        if x2 > x1:
            y1, y2 = bottom - (x1 - start), bottom - (x2 - start)
            pieces.append(f"M{n(x1)} {n(y1)}L{n(x2)} {n(y2)}")
        start += step
    return "".join(pieces)


def _target(panel: Panel, axis: Axis, bottom: float, words: PictureWords) -> str:
    """The target as a line of ink over the full height, with its value."""
    x, top = axis.x(panel.limit), HEADER_TOP + HEADER_HEIGHT
    label = f"{words.target} {panel.limit_text}"
    half = len(label) * 2.4 + 4
    return (
        f'<line class="target" x1="{n(x)}" y1="{n(HEADER_TOP - 2)}" x2="{n(x)}" '
        f'y2="{n(bottom + 4)}" stroke="{INK}" stroke-width="1.6"/>'
        f'<rect x="{n(x - half)}" y="{n(top + 1.5)}" width="{n(2 * half)}" '
        f'height="11" fill="{PAPER}" stroke="{INK}" stroke-width="0.6"/>'
        + text(x, top + 10.2, label, size=8.5, anchor="middle", weight=600)
    )


def _scale(panel: Panel, axis: Axis, bottom: float, decimal_mark: str) -> str:
    """The axis with the bounds of the bands and the decades."""
    parts = [
        f'<line x1="{n(PLOT_LEFT)}" y1="{n(bottom)}" x2="{n(PLOT_RIGHT)}" '
        f'y2="{n(bottom)}" stroke="{INK}" stroke-width="0.7"/>'
    ]
    taken: list[float] = []
    decades = range(math.ceil(math.log10(axis.low)), math.floor(math.log10(axis.high)) + 1)
    for value in [*panel.bounds, *(10.0**power for power in decades)]:
        x = axis.x(value)
        if any(abs(x - other) < 24.0 for other in taken):
            continue
        taken.append(x)
        parts.append(
            f'<line x1="{n(x)}" y1="{n(bottom)}" x2="{n(x)}" y2="{n(bottom + 4)}" '
            f'stroke="{INK}" stroke-width="0.7"/>'
            + text(x, bottom + 13.5, plain(value, decimal_mark), size=8.5, anchor="middle")
        )
    parts.append(text(PLOT_RIGHT + 8, bottom + 13.5, panel.unit, size=8.5, fill=SECOND_INK))
    return "".join(parts)


def _row(row: PictureRow, axis: Axis, top: float, words: PictureWords, *, single: bool) -> str:
    middle = top + ROW_HEIGHT / 2
    y_before, y_after = middle - OFFSET, middle + (0.0 if single else OFFSET)
    parts = [
        '<g class="row">',
        f'<line x1="0" y1="{n(top)}" x2="{n(WIDTH)}" y2="{n(top)}" stroke="{RULE}" '
        f'stroke-width="0.6"/>',
        text(0, middle - 1.5, _short(row.spot), size=10),
        text(0, middle + 8.5, _short(row.room), size=8.5, fill=SECOND_INK),
    ]
    before = None if single else row.before
    compared = row.comparable and before is not None and row.after is not None
    if compared and before and row.after and row.reduction:
        parts.append(
            connection(axis.x(before.value), y_before, axis.x(row.after.value), y_after,
                        rose=row.rose)
        )  # fmt: skip
    if before is not None:
        parts.append(_whisker(before, axis, y_before))
        parts.append(ring(axis.x(before.value), y_before))
    if row.after is not None:
        parts.append(_whisker(row.after, axis, y_after))
        parts.append(_after_mark(row, axis.x(row.after.value), y_after, single=single))
        if row.rose and compared:
            parts.append(_word_at(row.after, axis, y_after, words.rose))
    parts += _right_text(row, middle)
    parts.append("</g>")
    return "".join(parts)


def _right_text(row: PictureRow, middle: float) -> list[str]:
    x = PLOT_RIGHT + 8
    if not row.interval:
        return [text(x, middle + 3.5, row.reduction, size=9.5, weight=600)]
    return [
        text(x, middle - 1.5, row.reduction, size=9.5, weight=600),
        text(x, middle + 8.5, row.interval, size=8.5, fill=SECOND_INK),
    ]


def _after_mark(row: PictureRow, x: float, y: float, *, single: bool) -> str:
    if single:
        return disc(x, y)
    if not row.comparable:
        return ring(x, y)
    if row.at_least:
        return open_arrow(x, y)
    return disc(x, y)


def _whisker(point: Point, axis: Axis, y: float) -> str:
    """The 95 % interval; a chevron instead of a cap where the meter found no end."""
    if point.qualifier in ("<", "≤"):
        left, right = axis.x(max(point.low, axis.low)), axis.x(point.value)
        left = min(left, right - 14)
        ends = chevron(left, y, -1)
    elif point.qualifier == ">":
        left, right = axis.x(point.value), axis.x(point.value) + 14
        ends = chevron(right, y, 1)
    else:
        left, right = axis.x(max(point.low, axis.low)), axis.x(point.high)
        ends = "".join(
            f'<line x1="{n(x)}" y1="{n(y - 2.6)}" x2="{n(x)}" y2="{n(y + 2.6)}"/>'
            for x in (left, right)
        )
    return (
        f'<g class="interval" stroke="{INK}" stroke-width="0.8">'
        f'<line x1="{n(left)}" y1="{n(y)}" x2="{n(right)}" y2="{n(y)}"/>{ends}</g>'
    )


def _word_at(point: Point, axis: Axis, y: float, word: str) -> str:
    """The word behind the end of a rise, on a scrap of paper so that the hatch does not cut it."""
    x = max(axis.x(point.high), axis.x(point.value) + RADIUS) + 5
    width = len(word) * 5.2 + 4
    x = min(x, PLOT_RIGHT - width)
    return (
        f'<rect x="{n(x - 2)}" y="{n(y - 6)}" width="{n(width)}" height="11" fill="{PAPER}"/>'
        + text(x, y + 2.8, word, size=9, weight=600)
    )


def _legend(rows: Sequence[PictureRow], y: float, words: PictureWords, *, single: bool) -> str:
    """What the marks mean; only the marks that occur."""
    line = y - 3.0
    entries: list[tuple[str, float, str]] = []
    if not single:
        entries.append((ring(6, line), 14, words.before))
    entries.append((disc(6, line), 14, words.found if single else words.after))
    interval = (
        f'<g stroke="{INK}" stroke-width="0.8"><line x1="0" y1="{n(line)}" x2="18" '
        f'y2="{n(line)}"/><line x1="0" y1="{n(line - 2.6)}" x2="0" y2="{n(line + 2.6)}"/>'
        f'<line x1="18" y1="{n(line - 2.6)}" x2="18" y2="{n(line + 2.6)}"/></g>'
    )
    entries.append((interval, 22, words.interval))
    if not single and any(row.rose and row.comparable for row in rows):
        entries.append((connection(0, line, 18, line, rose=True), 22, words.rose))
    if not single and any(row.at_least and row.comparable for row in rows):
        entries.append((open_arrow(4, line), 14, words.at_least))
    if not single and any(not row.comparable for row in rows):
        entries.append((ring(6, line) + ring(17, line), 25, words.not_comparable))
    parts, x = [], 0.0
    for mark, indent, word in entries:
        parts.append(f'<g transform="translate({n(x)} 0)">{mark}</g>')
        parts.append(text(x + indent, y, word, size=8.5, fill=SECOND_INK))
        x += indent + len(word) * 4.3 + 12
    return f'<g class="legend">{"".join(parts)}</g>'


def _short(label: str) -> str:
    return label if len(label) <= LABEL_CHARACTERS else label[: LABEL_CHARACTERS - 1] + "…"
