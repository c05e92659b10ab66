"""The ground of a picture: bands with their words, the line of the target, the scale."""

import math
from functools import lru_cache

from consult.letters.charts import Axis, Chart, PictureWords
from consult.letters.marks import INK, PAPER, SECOND_INK, n, plain, text

BAND_COLOURS = ("#e3e9ee", "#b4c4d2", "#567490", "#1f3a54")
BAND_TEXT_COLOURS = (INK, INK, "#ffffff", "#ffffff")
BAND_TINTS = ("#fafbfc", "#f1f4f7", "#e6ecf1", "#dae2ea")
HATCH_STEPS = (0.0, 13.0, 7.5, 4.2)  # distance of the hatch lines: none, then denser by each band

HEADER_HEIGHT = 22.0


def bands(chart: Chart, axis: Axis, bottom: float) -> str:
    """Pale columns with their words on top and a hatch that grows denser."""
    ends = [axis.low, *chart.bounds, axis.high]
    above = axis.layout.header_top
    parts = []
    for index in range(4):
        left, right = axis.x(ends[index]), axis.x(ends[index + 1])
        width, top = right - left, above + HEADER_HEIGHT
        parts.append(
            f'<rect x="{n(left)}" y="{n(above)}" width="{n(width)}" '
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
        parts.append(_band_words(chart.band_words[index], (left + right) / 2, above, index))
    return "".join(parts)


def _band_words(words: str, middle: float, above: float, index: int) -> str:
    """The band's name in one or two short lines."""
    lines = words.split(" ", 1)
    first = above + (9.5 if len(lines) == 2 else 14.0)
    written = "".join(
        text(
            middle, first + 9.0 * place, line, size=8.5, anchor="middle",
            fill=BAND_TEXT_COLOURS[index],
        )
        for place, line in enumerate(lines)
    )  # fmt: skip
    return f'<g class="band-words">{written}</g>'


@lru_cache(maxsize=1_000)
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


def target(chart: Chart, axis: Axis, bottom: float, words: PictureWords) -> str:
    """The target as a line of ink over the full height, with its value."""
    above = axis.layout.header_top
    x, top = axis.x(chart.limit), above + HEADER_HEIGHT
    label = f"{words.target} {chart.limit_text}"
    half = len(label) * 2.4 + 4
    return (
        f'<line class="target" x1="{n(x)}" y1="{n(above - 2)}" x2="{n(x)}" '
        f'y2="{n(bottom + 4)}" stroke="{INK}" stroke-width="1.6"/>'
        f'<rect x="{n(x - half)}" y="{n(top + 1.5)}" width="{n(2 * half)}" '
        f'height="11" fill="{PAPER}" stroke="{INK}" stroke-width="0.6"/>'
        + text(x, top + 10.2, label, size=8.5, anchor="middle", weight=600)
    )


def scale(chart: Chart, axis: Axis, bottom: float, decimal_mark: str) -> str:
    """The axis with the bounds of the bands and the decades."""
    parts = [
        f'<line x1="{n(axis.layout.plot_left)}" y1="{n(bottom)}" x2="{n(axis.layout.plot_right)}" '
        f'y2="{n(bottom)}" stroke="{INK}" stroke-width="0.7"/>'
    ]
    taken: list[float] = []
    decades = range(math.ceil(math.log10(axis.low)), math.floor(math.log10(axis.high)) + 1)
    for value in [*chart.bounds, *(10.0**power for power in decades)]:
        x = axis.x(value)
        if any(abs(x - other) < 24.0 for other in taken):
            continue
        taken.append(x)
        parts.append(
            f'<line x1="{n(x)}" y1="{n(bottom)}" x2="{n(x)}" y2="{n(bottom + 4)}" '
            f'stroke="{INK}" stroke-width="0.7"/>'
            + text(x, bottom + 13.5, plain(value, decimal_mark), size=8.5, anchor="middle")
        )
    if axis.layout.figures_beside:
        right = axis.layout.plot_right + 8
        parts.append(text(right, bottom + 13.5, chart.unit, size=8.5, fill=SECOND_INK))
    return "".join(parts)
