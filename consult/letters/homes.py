"""A picture of many homes: what was left in each, their mean, and what a next one may expect.

Told apart in black and white by shape: a home is a disc with whiskers, the mean a full diamond as
wide as its interval, the next home an open bar. The scale is logarithmic.
"""

import itertools
import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from xml.sax.saxutils import escape

from consult.letters.marks import INK, PAPER, SECOND_INK, attribute, n, plain, text

RULE = "#d9d6cd"
LEAST, MOST = 0.01, 1_000.0  # the scale ends here at the latest [%]
_TOP, _AXIS, _SUMMARY = 18.0, 30.0, 17.0
_ROW, _NAMED, _ALL_ROWS = 15.0, 11.0, 560.0  # heights
_LEAST_TICK = 36.0  # between two numbers of the scale


@dataclass(frozen=True)
class HomeMark:
    """What is left of the field in one home, with its 95 % interval. [%]"""

    name: str
    value: float
    low: float
    high: float


@dataclass(frozen=True)
class HomeChart:
    """Homes in the order in which they are drawn; mean and next home where they are known.

    `spoken` says the result; `left` names the scale, `unchanged` the line at 100 %.
    """

    spoken: str
    homes: tuple[HomeMark, ...]
    mean: HomeMark | None
    next_home: HomeMark | None
    left: str
    unchanged: str
    decimal_mark: str = "."


@dataclass(frozen=True)
class HomeLayout:
    """Where things stand, in units of the drawing."""

    width: float
    plot_left: float
    plot_right: float
    name_characters: int


WIDE_HOMES = HomeLayout(520.0, 132.0, 508.0, name_characters=25)
NARROW_HOMES = HomeLayout(320.0, 92.0, 310.0, name_characters=16)


@dataclass(frozen=True)
class _Scale:
    low: float
    high: float
    layout: HomeLayout

    def x(self, value: float) -> float:
        kept = min(max(value, self.low), self.high)
        share = math.log(kept / self.low) / math.log(self.high / self.low)
        return self.layout.plot_left + share * (self.layout.plot_right - self.layout.plot_left)


def homes_svg(
    chart: HomeChart, *, font: str = "Source Serif 4", layout: HomeLayout = WIDE_HOMES
) -> str:
    """A row for each home, the mean and the next home under them; the title says the result."""
    scale = _scale(chart, layout)
    row = min(_ROW, _ALL_ROWS / max(len(chart.homes), 1))
    summary = _TOP + row * len(chart.homes) + 4.0
    marks = [mark for mark in (chart.mean, chart.next_home) if mark is not None]
    bottom = summary + _SUMMARY * len(marks)
    width, height = layout.width, bottom + _AXIS
    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {n(width)} {n(height)}" '
        f'width="{n(width)}" height="{n(height)}" role="img" '
        f'font-family="{attribute(font)}, sans-serif" font-size="10" fill="{INK}">',
        f"<title>{escape(chart.spoken)}</title>",
        f'<rect width="{n(width)}" height="{n(height)}" fill="{PAPER}"/>',
        _unchanged(chart, scale, bottom),
    ]
    for at, home in enumerate(chart.homes):
        parts.append(_home(home, scale, _TOP + row * (at + 0.5), row))
    for at, mark in enumerate(marks):
        middle = summary + _SUMMARY * (at + 0.5)
        parts.append(_diamond(mark, scale, middle) if mark is chart.mean else
                     _open_bar(mark, scale, middle))  # fmt: skip
    if marks:
        parts.append(_line("rule", 0.0, summary, width, summary, RULE, 0.8))
    parts += [_axis(chart, scale, bottom), "</svg>"]
    return "".join(parts)


def _scale(chart: HomeChart, layout: HomeLayout) -> _Scale:
    marks = [mark for mark in (*chart.homes, chart.mean, chart.next_home) if mark is not None]
    low = min([80.0, *(mark.low / 1.15 for mark in marks)])
    high = max([130.0, *(mark.high * 1.15 for mark in marks)])
    return _Scale(max(low, LEAST), min(high, MOST), layout)


def _unchanged(chart: HomeChart, scale: _Scale, bottom: float) -> str:
    x = scale.x(100.0)
    word_at_end = x + len(chart.unchanged) * 4.4 > scale.layout.width
    return _line("unchanged", x, _TOP - 4, x, bottom, INK, 1.0) + text(
        x + (3 if word_at_end else 0), _TOP - 8, chart.unchanged, size=8.5, fill=SECOND_INK,
        anchor="end" if word_at_end else "middle",
    )  # fmt: skip


def _home(home: HomeMark, scale: _Scale, y: float, row: float) -> str:
    is_named = row >= _NAMED
    size = min(1.0, row / 8.0)
    left, right = scale.x(home.low), scale.x(home.high)
    parts = [_line("interval", left, y, right, y, INK, max(0.25, size))]
    if is_named:
        parts += [_line("cap", x, y - 2.6, x, y + 2.6, INK, 1.0) for x in (left, right)]
        parts.append(text(0, y + 3.2, _short(home.name, scale.layout), size=9.2))
    x = scale.x(home.value)
    parts.append(
        f'<circle class="disc" cx="{n(x)}" cy="{n(y)}" r="{n(max(0.6, 3.4 * size))}" fill="{INK}"/>'
    )
    return f'<g class="row">{"".join(parts)}</g>'


def _diamond(mark: HomeMark, scale: _Scale, y: float) -> str:
    low, middle, high = (scale.x(value) for value in (mark.low, mark.value, mark.high))
    low, high = min(low, middle - 2.0), max(high, middle + 2.0)
    points = f"M{n(low)} {n(y)}L{n(middle)} {n(y - 5)}L{n(high)} {n(y)}L{n(middle)} {n(y + 5)}Z"
    return f'<path class="mean" d="{points}" fill="{INK}"/>' + _summary_name(mark, scale, y)


def _open_bar(mark: HomeMark, scale: _Scale, y: float) -> str:
    low, high = scale.x(mark.low), scale.x(mark.high)
    return (
        f'<rect class="next" x="{n(low)}" y="{n(y - 3.4)}" width="{n(max(high - low, 1.0))}" '
        f'height="6.8" fill="{PAPER}" stroke="{INK}" stroke-width="1.1"/>'
        + _summary_name(mark, scale, y)
    )


def _summary_name(mark: HomeMark, scale: _Scale, y: float) -> str:
    return text(0, y + 3.2, _short(mark.name, scale.layout), size=9.2, weight=600)


def _axis(chart: HomeChart, scale: _Scale, bottom: float) -> str:
    layout = scale.layout
    parts = [_line("axis", layout.plot_left, bottom, layout.plot_right, bottom, INK, 0.7)]
    for value in _ticks(scale):
        x = scale.x(value)
        parts.append(_line("tick", x, bottom, x, bottom + 4, INK, 0.7))
        words = plain(value, chart.decimal_mark)
        parts.append(text(x, bottom + 13.5, words, size=8.5, anchor="middle"))
    parts.append(
        text(layout.plot_right, bottom + 26, chart.left, size=8.5, fill=SECOND_INK, anchor="end")
    )
    return "".join(parts)


def _ticks(scale: _Scale) -> Sequence[float]:
    """Round numbers, as many as have room."""
    for steps in ((1.0, 2.0, 5.0), (1.0, 3.0), (1.0,)):
        values = list(_round_numbers(scale, steps))
        places = [scale.x(value) for value in values]
        gaps = [after - before for before, after in itertools.pairwise(places)]
        if all(gap >= _LEAST_TICK * 0.75 for gap in gaps):
            break
    return values


def _round_numbers(scale: _Scale, steps: Sequence[float]) -> Iterator[float]:
    for power in range(math.floor(math.log10(scale.low)), math.ceil(math.log10(scale.high)) + 1):
        for step in steps:
            value = step * 10.0**power
            if scale.low <= value <= scale.high:
                yield value


def _line(kind: str, x1: float, y1: float, x2: float, y2: float, ink: str, width: float) -> str:
    return (
        f'<line class="{kind}" x1="{n(x1)}" y1="{n(y1)}" x2="{n(x2)}" y2="{n(y2)}" '
        f'stroke="{ink}" stroke-width="{n(width)}"/>'
    )


def _short(label: str, layout: HomeLayout) -> str:
    room = layout.name_characters
    return label if len(label) <= room else label[: room - 1] + "…"
