"""A picture of foretold probability against what came of it, in classes.

A disc for each class, with its number of rows beside it and the interval of its share; on the
straight line a promise says just what happens.
"""

from dataclasses import dataclass
from xml.sax.saxutils import escape

from consult.letters.marks import INK, PAPER, SECOND_INK, attribute, disc, n, text

RULE = "#d9d6cd"
_LEFT, _TOP, _BOTTOM, _RIGHT = 34.0, 12.0, 34.0, 14.0


@dataclass(frozen=True)
class ClassMark:
    """One class: its mean probability, the share that was met with its 95 % interval. [1]"""

    probability: float
    share: float
    low: float
    high: float
    rows: str


@dataclass(frozen=True)
class ReliabilityChart:
    """The classes that have rows; `ends` are those of all classes, `spoken` says the result."""

    spoken: str
    marks: tuple[ClassMark, ...]
    ends: tuple[float, ...]
    foretold: str
    met: str


def reliability_svg(
    chart: ReliabilityChart, *, font: str = "Source Serif 4", side: float = 300.0
) -> str:
    """Foretold across, met upward, both from 0 to 100 %."""
    right, bottom = side - _RIGHT, side - _BOTTOM

    def x(share: float) -> float:
        return _LEFT + share * (right - _LEFT)

    def y(share: float) -> float:
        return bottom - share * (bottom - _TOP)

    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {n(side)} {n(side)}" '
        f'width="{n(side)}" height="{n(side)}" role="img" '
        f'font-family="{attribute(font)}, sans-serif" font-size="10" fill="{INK}">',
        f"<title>{escape(chart.spoken)}</title>",
        f'<rect width="{n(side)}" height="{n(side)}" fill="{PAPER}"/>',
    ]
    for end in chart.ends:
        parts += [
            _line("grid", x(end), y(0), x(end), y(1), RULE, 0.6),
            _line("grid", x(0), y(end), x(1), y(end), RULE, 0.6),
            text(x(end), bottom + 12, f"{100 * end:.0f}", size=8.5, anchor="middle"),
            text(_LEFT - 5, y(end) + 3, f"{100 * end:.0f}", size=8.5, anchor="end"),
        ]
    parts.append(_line("kept", x(0), y(0), x(1), y(1), INK, 1.0, dashes="4 3"))
    for mark in chart.marks:
        at = x(mark.probability)
        parts.append(_line("interval", at, y(mark.low), at, y(mark.high), INK, 1.0))
        parts.append(disc(at, y(mark.share)))
    parts += [_rows(mark, x(mark.probability), y(mark.share)) for mark in chart.marks]
    parts += [
        text(right, bottom + 26, chart.foretold, size=8.5, fill=SECOND_INK, anchor="end"),
        text(_LEFT + 4, _TOP + 9, chart.met, size=8.5, fill=SECOND_INK),
        "</svg>",
    ]
    return "".join(parts)


def _rows(mark: ClassMark, at: float, height: float) -> str:
    """How many rows a class has, on paper, beside its disc and inside of the plot."""
    width = 5.2 * len(mark.rows)
    left = at - 8.0 - width if mark.probability > 0.5 else at + 8.0
    base = height + (12.0 if mark.share > 0.5 else -6.0)
    return (
        f'<rect x="{n(left - 1.5)}" y="{n(base - 8.5)}" width="{n(width + 3)}" height="11" '
        f'fill="{PAPER}"/>' + text(left, base, mark.rows, size=9, weight=600)
    )


def _line(
    kind: str, x1: float, y1: float, x2: float, y2: float, ink: str, width: float, dashes: str = ""
) -> str:
    dashed = f' stroke-dasharray="{dashes}"' if dashes else ""
    return (
        f'<line class="{kind}" x1="{n(x1)}" y1="{n(y1)}" x2="{n(x2)}" y2="{n(y2)}" '
        f'stroke="{ink}" stroke-width="{n(width)}"{dashed}/>'
    )
