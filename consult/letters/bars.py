"""A picture of signed parts around zero: what adds, what takes off, what nothing removes.

Told apart in black and white: what adds is a full bar, what takes off an empty one, what stays is
hatched. Colours stand in attributes, as in the picture of before and after.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from xml.sax.saxutils import escape

from consult.letters.marks import INK, PAPER, SECOND_INK, attribute, n, plain, text

FILL = "#567490"
RULE = "#d9d6cd"
_BAR = 9.0
_TOP = 4.0
_AXIS = 30.0
_LEAST_TICK = 34.0  # between two numbers of the scale


@dataclass(frozen=True)
class Bar:
    """One part with its 95 % interval; `figures` are printed, `spoken` are heard."""

    name: str
    value: float
    low: float
    high: float
    figures: str
    spoken: str
    is_hatched: bool = False


@dataclass(frozen=True)
class BarChart:
    """The parts of one whole, all in one unit; `adds` and `takes_off` name the two sides."""

    title: str
    unit: str
    bars: tuple[Bar, ...]
    adds: str
    takes_off: str
    decimal_mark: str = "."


@dataclass(frozen=True)
class BarLayout:
    """Where things stand, in units of the drawing."""

    width: float
    plot_left: float
    plot_right: float
    row_height: float
    names_y: float  # base line of the name, from the top of a row
    middle_y: float  # middle of the bar
    figures_beside: bool
    name_characters: int


WIDE_BARS = BarLayout(520.0, 164.0, 400.0, 18.0, names_y=12.2, middle_y=9.0, figures_beside=True,
                      name_characters=34)  # fmt: skip
NARROW_BARS = BarLayout(320.0, 6.0, 314.0, 36.0, names_y=12.0, middle_y=24.0, figures_beside=False,
                        name_characters=30)  # fmt: skip


@dataclass(frozen=True)
class _Scale:
    low: float
    high: float
    layout: BarLayout

    def x(self, value: float) -> float:
        share = (value - self.low) / (self.high - self.low)
        return self.layout.plot_left + share * (self.layout.plot_right - self.layout.plot_left)


def signed_bars_svg(
    chart: BarChart, *, font: str = "Source Serif 4", layout: BarLayout = WIDE_BARS
) -> str:
    """One bar for each part with its interval and sign; the title says them all."""
    scale = _scale(chart.bars, layout)
    bottom = _TOP + layout.row_height * len(chart.bars)
    height = bottom + _AXIS
    spoken = "; ".join(bar.spoken for bar in chart.bars)
    zero = scale.x(0.0)
    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {n(layout.width)} {n(height)}" '
        f'width="{n(layout.width)}" height="{n(height)}" role="img" '
        f'font-family="{attribute(font)}, sans-serif" font-size="10" fill="{INK}">',
        f"<title>{escape(f'{chart.title}: {spoken}')}</title>",
        f'<rect width="{n(layout.width)}" height="{n(height)}" fill="{PAPER}"/>',
    ]
    for at, bar in enumerate(chart.bars):
        parts.append(_row(bar, scale, _TOP + layout.row_height * at))
    parts.append(_zero(chart, layout, zero, bottom))
    parts += [_axis(chart, scale, bottom), "</svg>"]
    return "".join(parts)


def _zero(chart: BarChart, layout: BarLayout, x: float, bottom: float) -> str:
    """The line of zero beside each bar; it does not cross a name that stands above its bar."""
    begins = 0.0 if layout.figures_beside else layout.names_y + 3.0
    tops = [_TOP + layout.row_height * at for at in range(len(chart.bars))]
    pieces = [f"M{n(x)} {n(top + begins)}L{n(x)} {n(top + layout.row_height)}" for top in tops]
    pieces.append(f"M{n(x)} {n(bottom)}L{n(x)} {n(bottom + 4)}")
    return f'<path class="zero" d="{"".join(pieces)}" stroke="{INK}" stroke-width="1.2"/>'


def _scale(bars: Sequence[Bar], layout: BarLayout) -> _Scale:
    low = min(0.0, *(bar.low for bar in bars), *(bar.value for bar in bars))
    high = max(0.0, *(bar.high for bar in bars), *(bar.value for bar in bars))
    room = 0.04 * (high - low) or 1.0
    return _Scale(low - (room if low < 0.0 else 0.0), high + room, layout)


def _row(bar: Bar, scale: _Scale, top: float) -> str:
    layout = scale.layout
    middle = top + layout.middle_y
    left, right = sorted((scale.x(0.0), scale.x(bar.value)))
    parts = [
        f'<g class="row"><line x1="0" y1="{n(top)}" x2="{n(layout.width)}" y2="{n(top)}" '
        f'stroke="{RULE}" stroke-width="0.6"/>',
        text(0, top + layout.names_y, _short(bar.name, layout), size=9.4),
        _figures(bar, top, layout),
        _bar(bar, left, right, middle),
        _whisker(scale.x(bar.low), scale.x(bar.high), middle),
        "</g>",
    ]
    return "".join(parts)


def _figures(bar: Bar, top: float, layout: BarLayout) -> str:
    y = top + layout.names_y
    if layout.figures_beside:
        return text(layout.plot_right + 8, y, bar.figures, size=9.2)
    return text(layout.width, y, bar.figures, size=9.2, anchor="end")


def _bar(bar: Bar, left: float, right: float, middle: float) -> str:
    """Full where it adds, empty where it takes off, hatched where nothing removes it."""
    width, top = max(right - left, 0.8), middle - _BAR / 2
    kind = "stays" if bar.is_hatched else "takes-off" if bar.value < 0.0 else "adds"
    fill = FILL if kind == "adds" else PAPER
    drawn = (
        f'<rect class="{kind}" x="{n(left)}" y="{n(top)}" width="{n(width)}" height="{n(_BAR)}" '
        f'fill="{fill}" stroke="{INK}" stroke-width="{0 if kind == "adds" else 0.9}"/>'
    )
    if not bar.is_hatched:
        return drawn
    lines = []
    start = left - _BAR + 3.0
    while start < left + width:
        x1, x2 = max(start, left), min(start + _BAR, left + width)
        if x2 > x1:
            y1, y2 = top + _BAR - (x1 - start), top + _BAR - (x2 - start)
            lines.append(f"M{n(x1)} {n(y1)}L{n(x2)} {n(y2)}")
        start += 3.4
    return drawn + f'<path d="{"".join(lines)}" stroke="{INK}" stroke-width="0.7" fill="none"/>'


def _whisker(left: float, right: float, y: float) -> str:
    caps = "".join(
        f'<line x1="{n(x)}" y1="{n(y - 2.8)}" x2="{n(x)}" y2="{n(y + 2.8)}"/>'
        for x in (left, right)
    )
    return (
        f'<g class="interval" stroke="{INK}" stroke-width="1"><line x1="{n(left)}" y1="{n(y)}" '
        f'x2="{n(right)}" y2="{n(y)}"/>{caps}</g>'
    )


def _axis(chart: BarChart, scale: _Scale, bottom: float) -> str:
    layout = scale.layout
    parts = [
        f'<line x1="{n(layout.plot_left)}" y1="{n(bottom)}" x2="{n(layout.plot_right)}" '
        f'y2="{n(bottom)}" stroke="{INK}" stroke-width="0.7"/>'
    ]
    for value in ticks(scale.low, scale.high, (layout.plot_right - layout.plot_left) / _LEAST_TICK):
        x = scale.x(value)
        parts.append(
            f'<line x1="{n(x)}" y1="{n(bottom)}" x2="{n(x)}" y2="{n(bottom + 4)}" '
            f'stroke="{INK}" stroke-width="0.7"/>'
            + text(x, bottom + 13.5, _signed(value, chart), size=8.5, anchor="middle")
        )
    if layout.figures_beside:
        parts.append(
            text(layout.plot_right + 8, bottom + 13.5, chart.unit, size=8.5, fill=SECOND_INK)
        )
    unit = "" if layout.figures_beside else f" [{chart.unit}]"
    zero, y = scale.x(0.0), bottom + 26.0
    parts.append(text(zero + 4, y, f"{chart.adds}{unit} →", size=8.5, fill=SECOND_INK))
    if any(bar.value < 0.0 for bar in chart.bars):
        word = f"← {chart.takes_off}"
        anchor, x = ("end", zero - 4) if zero > len(word) * 4.4 else ("start", 0.0)
        parts.append(text(x, y, word if x else "", size=8.5, fill=SECOND_INK, anchor=anchor))
    return "".join(parts)


def ticks(low: float, high: float, most: float) -> list[float]:
    """Round numbers between two ends, at most so many of them."""
    raw = (high - low) / max(most, 1.0)
    power = 10.0 ** math.floor(math.log10(raw))
    step = next(power * factor for factor in (1, 2, 5, 10) if power * factor >= raw * (1 - 1e-9))
    first = math.ceil(low / step - 1e-9)
    return [number * step for number in range(first, math.floor(high / step + 1e-9) + 1)]


def _signed(value: float, chart: BarChart) -> str:
    return plain(value, chart.decimal_mark).replace("-", "−") if value else "0"


def _short(label: str, layout: BarLayout) -> str:
    room = layout.name_characters
    return label if len(label) <= room else label[: room - 1] + "…"
