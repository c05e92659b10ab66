"""The picture of before and after: one chart per measurand, drawn as SVG for page and paper alike.

Every colour and font stands in an attribute, because the style sheet of a page does not reach a
picture inside a PDF and a strict content policy refuses inline styles.
"""

from collections.abc import Callable, Sequence
from xml.sax.saxutils import escape

from consult.calc.rounding import rounded_bound
from consult.letters.charts import (
    WIDE,
    Axis,
    Chart,
    Layout,
    PictureRow,
    PictureWords,
    Point,
    axis_for,
)
from consult.letters.ground import HEADER_HEIGHT, bands, scale, target
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
TARGET_HEIGHT = 13.5
AXIS_HEIGHT = 16.5
LEGEND_HEIGHT = 17.0
LEGEND_LINE = 13.0
OFFSET = 4.2  # before stands a little above the middle of its marks, after a little below

Entry = tuple[Callable[[float], str], float, str]  # a mark at a height, its width, its word


def before_after_svg(
    chart: Chart,
    words: PictureWords,
    *,
    font: str = "Source Serif 4",
    layout: Layout = WIDE,
    legend_rows: Sequence[PictureRow] | None = None,
    in_title: bool = False,
) -> str:
    """Before and after at every spot of one measurand.

    The legend has the marks of `legend_rows`, by default those of the chart; for none there is no
    legend, because one for several charts stands under the last. With `in_title` the title says
    the results too: of a picture on paper nothing else is heard.
    """
    return _picture(chart, words, font, layout, legend_rows, in_title, single=False)


def findings_svg(
    chart: Chart,
    words: PictureWords,
    *,
    font: str = "Source Serif 4",
    layout: Layout = WIDE,
    legend_rows: Sequence[PictureRow] | None = None,
    in_title: bool = False,
) -> str:
    """The values of one visit, given as `after` of each row."""
    return _picture(chart, words, font, layout, legend_rows, in_title, single=True)


def _picture(
    chart: Chart,
    words: PictureWords,
    font: str,
    layout: Layout,
    legend_rows: Sequence[PictureRow] | None,
    in_title: bool,
    *,
    single: bool,
) -> str:
    rows = chart.rows
    axis = axis_for(chart, layout)
    explained = rows if legend_rows is None else legend_rows
    legend = _legend_lines(explained, words, layout.width, single=single) if explained else []
    top = layout.header_top + HEADER_HEIGHT + TARGET_HEIGHT
    bottom = top + layout.row_height * len(rows)
    height = bottom + AXIS_HEIGHT
    if legend:
        height += LEGEND_HEIGHT + LEGEND_LINE * (len(legend) - 1)
    title = f"{words.title}: {chart.name} [{chart.unit}]"
    spoken = _description(chart, rows, words, single=single)
    if in_title:
        title = f"{title}. {spoken}"
    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {n(layout.width)} {n(height)}" '
        f'width="{n(layout.width)}" height="{n(height)}" role="img" '
        f'font-family="{attribute(font)}, serif" font-size="10" fill="{INK}">',
        f"<title>{escape(title)}</title>",
        f"<desc>{escape(spoken)}</desc>",
        f'<rect width="{n(layout.width)}" height="{n(height)}" fill="{PAPER}"/>',
        *_title(chart, layout),
        *(_head_of_figures(words, layout) if any(row.figures for row in rows) else ()),
        bands(chart, axis, bottom),
        target(chart, axis, bottom, words),
        scale(chart, axis, bottom, words.decimal_mark),
    ]
    for index, row in enumerate(rows):
        parts.append(_row(row, axis, top + layout.row_height * index, words, single=single))
    parts += [_legend(legend, bottom + AXIS_HEIGHT + LEGEND_HEIGHT - 6.0), "</svg>"]
    return "".join(parts)


def _title(chart: Chart, layout: Layout) -> list[str]:
    """Quantity and unit above the scale, or in two lines beside the words of the bands."""
    if not layout.figures_beside:
        return [text(0, 14, f"{chart.name} [{chart.unit}]", size=11, weight=600)]
    first, comma, second = chart.name.partition(", ")
    lines = [first + comma.strip(), f"{second} [{chart.unit}]".strip()]
    top = layout.header_top
    return [text(0, top + 9 + 11 * at, line, size=9.5, weight=600) for at, line in enumerate(lines)]


def _head_of_figures(words: PictureWords, layout: Layout) -> list[str]:
    """What the figures beside the scale are."""
    if not (layout.figures_beside and words.reduction):
        return []
    x, top = layout.plot_right + 8, layout.header_top
    lines = [f"{words.before} → {words.after}", words.reduction]
    return [
        text(x, top + 9.5 + 9.6 * at, line, size=8.4, fill=SECOND_INK)
        for at, line in enumerate(lines)
    ]


def _description(
    chart: Chart, rows: Sequence[PictureRow], words: PictureWords, *, single: bool
) -> str:
    """The picture in sentences, for a reader who hears it."""
    sentences = [f"{words.target}: {chart.limit_text}."]
    for row in rows:
        values = [
            f"{word} {_quantity(point, chart.unit, words)}"
            for word, point in ((words.before, row.before), (words.after, row.after))
            if point is not None and not (single and word == words.before)
        ]
        words_of_row = [row.reduction, row.interval, row.decision, row.days]
        tail = ", ".join(part for part in [*values, *words_of_row] if part)
        sentences.append(f"{row.room}, {row.spot}: {tail}.")
    return " ".join(sentences)


def _quantity(point: Point, unit: str, words: PictureWords) -> str:
    if not point.qualifier:
        return f"{plain(point.value, words.decimal_mark)} {unit}"
    digits = rounded_bound(point.value, up=point.qualifier != ">")
    return f"{point.qualifier} {digits.replace('.', words.decimal_mark)} {unit}"


def _row(row: PictureRow, axis: Axis, top: float, words: PictureWords, *, single: bool) -> str:
    layout = axis.layout
    names, middle = top + layout.names_y, top + layout.marks_y
    y_before, y_after = middle - OFFSET, middle + (0.0 if single else OFFSET)
    parts = [
        '<g class="row">',
        f'<line x1="0" y1="{n(top)}" x2="{n(layout.width)}" y2="{n(top)}" stroke="{RULE}" '
        f'stroke-width="0.6"/>',
        text(0, names, _short(row.spot, layout), size=9.4),
        text(0, names + 8.6, _short(_under_name(row), layout), size=8.4, fill=SECOND_INK),
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
            parts.append(_word_at(row, axis, y_after, words.rose))
    parts += _figures(row, layout, names)
    parts.append("</g>")
    return "".join(parts)


def _figures(row: PictureRow, layout: Layout, names: float) -> list[str]:
    """The reduction and its interval, beside the scale or over its right end."""
    x, anchor, alone = layout.width, "end", names
    if layout.figures_beside:
        x, anchor, alone = layout.plot_right + 8, "start", names + 5
    first, second = row.reduction, row.interval
    if row.figures and layout.figures_beside:
        first, second = row.figures, row.reduction
    if not second:
        return [text(x, alone, first, size=9.2, weight=600, anchor=anchor)]
    return [
        text(x, names, first, size=9.2, weight=600, anchor=anchor),
        text(x, names + 8.6, second, size=8.4, fill=SECOND_INK, anchor=anchor),
    ]


def _under_name(row: PictureRow) -> str:
    return ", ".join(filter(None, (row.room, row.days)))


def _after_mark(row: PictureRow, x: float, y: float, *, single: bool) -> str:
    if single:
        return disc(x, y)
    if not row.comparable:
        return ring(x, y)
    if row.at_least:
        return open_arrow(x, y, rose=row.rose)
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


def _word_at(row: PictureRow, axis: Axis, y: float, word: str) -> str:
    """The word behind the end of a rise, on a scrap of paper so that the hatch does not cut it.

    Where the scale ends there it stands before the beginning.
    """
    before, after = row.before, row.after
    assert before is not None and after is not None  # a rise has both
    open_end = 16.0 if after.qualifier == ">" else 0.0
    x = max(axis.x(after.high), axis.x(after.value) + RADIUS + open_end) + 5
    width = len(word) * 5.0 + 4
    if x + width > axis.layout.plot_right:
        x = min(axis.x(before.low), axis.x(before.value) - RADIUS) - 3 - width
    return (
        f'<rect x="{n(x - 2)}" y="{n(y - 6)}" width="{n(width)}" height="11" fill="{PAPER}"/>'
        + text(x, y + 2.8, word, size=9, weight=600)
    )


def _legend_lines(
    rows: Sequence[PictureRow], words: PictureWords, width: float, *, single: bool
) -> list[list[tuple[float, Entry]]]:
    """What the marks mean, only those that occur: each with its place on a line of the legend."""
    lines: list[list[tuple[float, Entry]]] = [[]]
    x = 0.0
    for entry in _legend_entries(rows, words, single=single):
        _mark, indent, word = entry
        needed = indent + len(word) * 4.2
        if x + needed > width:
            lines.append([])
            x = 0.0
        lines[-1].append((x, entry))
        x += needed + 12
    return lines


def _legend_entries(
    rows: Sequence[PictureRow], words: PictureWords, *, single: bool
) -> list[Entry]:
    entries: list[Entry] = []
    if not single:
        entries.append((lambda y: ring(6, y), 14, words.before))
    entries.append((lambda y: disc(6, y), 14, words.found if single else words.after))
    entries.append((_interval_mark, 22, words.interval))
    if not single and any(row.rose and row.comparable for row in rows):
        entries.append((lambda y: connection(0, y, 18, y, rose=True), 22, words.rose))
    bounded = [row for row in rows if row.at_least and row.comparable]
    if not single and bounded:
        rose = all(row.rose for row in bounded)
        entries.append((lambda y: open_arrow(4, y, rose=rose), 14, words.at_least))
    if not single and any(not row.comparable for row in rows):
        entries.append((lambda y: ring(6, y) + ring(17, y), 25, words.not_comparable))
    return entries


def _interval_mark(y: float) -> str:
    return (
        f'<g stroke="{INK}" stroke-width="0.8"><line x1="0" y1="{n(y)}" x2="18" '
        f'y2="{n(y)}"/><line x1="0" y1="{n(y - 2.6)}" x2="0" y2="{n(y + 2.6)}"/>'
        f'<line x1="18" y1="{n(y - 2.6)}" x2="18" y2="{n(y + 2.6)}"/></g>'
    )


def _legend(lines: Sequence[Sequence[tuple[float, Entry]]], y: float) -> str:
    parts = []
    for line in lines:
        for x, (mark, indent, word) in line:
            parts.append(f'<g transform="translate({n(x)} 0)">{mark(y - 3.0)}</g>')
            parts.append(text(x + indent, y, word, size=8.5, fill=SECOND_INK))
        y += LEGEND_LINE
    return f'<g class="legend">{"".join(parts)}</g>'


def _short(label: str, layout: Layout) -> str:
    room = layout.name_characters
    return label if len(label) <= room else label[: room - 1] + "…"
