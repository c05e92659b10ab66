"""The single marks of a picture: rings, discs, lines and words as SVG, in attributes alone."""

import math
from xml.sax.saxutils import escape

PAPER = "#ffffff"
INK = "#1d2429"
SECOND_INK = "#5b636a"
RADIUS = 4.0


def connection(x1: float, y1: float, x2: float, y2: float, *, rose: bool) -> str:
    """A straight line from before to after; a double one where the field rose."""
    length = math.hypot(x2 - x1, y2 - y1) or 1.0
    dx, dy = (x2 - x1) / length, (y2 - y1) / length
    shifts = (-1.7, 1.7) if rose else (0.0,)
    lines = "".join(
        f'<line x1="{n(x1 - dy * shift)}" y1="{n(y1 + dx * shift)}" '
        f'x2="{n(x2 - dy * shift)}" y2="{n(y2 + dx * shift)}"/>'
        for shift in shifts
    )
    kind = "rise" if rose else "fall"
    return f'<g class="{kind}" stroke="{INK}" stroke-width="1.1">{lines}</g>'


def chevron(x: float, y: float, way: int) -> str:
    return (
        f'<path d="M{n(x - 3 * way)} {n(y - 2.6)}L{n(x)} {n(y)}'
        f'L{n(x - 3 * way)} {n(y + 2.6)}" fill="none"/>'
    )


def ring(x: float, y: float) -> str:
    return (
        f'<circle class="ring" cx="{n(x)}" cy="{n(y)}" r="{n(RADIUS)}" fill="{PAPER}" '
        f'stroke="{INK}" stroke-width="1.4"/>'
    )


def disc(x: float, y: float) -> str:
    return f'<circle class="disc" cx="{n(x)}" cy="{n(y)}" r="{n(RADIUS)}" fill="{INK}"/>'


def open_arrow(x: float, y: float, *, rose: bool = False) -> str:
    """For "at least": the true end lies further on, to the left where the field fell."""
    tail = -6 if rose else 6
    tip = 2 if rose else -2
    return (
        f'<path class="at-least" d="M{n(x + tail)} {n(y - 5)}L{n(x + tip)} {n(y)}'
        f'L{n(x + tail)} {n(y + 5)}" fill="none" stroke="{INK}" stroke-width="1.5"/>'
    )


def text(
    x: float,
    y: float,
    words: str,
    *,
    size: float,
    anchor: str = "start",
    weight: int = 400,
    fill: str = INK,
) -> str:
    if not words:
        return ""
    return (
        f'<text x="{n(x)}" y="{n(y)}" font-size="{n(size)}" text-anchor="{anchor}" '
        f'font-weight="{weight}" fill="{fill}">{escape(words)}</text>'
    )


def attribute(value: str) -> str:
    return escape(value, {'"': "&quot;"})


def n(value: float) -> str:
    """A coordinate, always written the same way."""
    text = f"{value:.2f}".rstrip("0").rstrip(".")
    return "0" if text == "-0" else text


def plain(value: float, decimal_mark: str) -> str:
    """A number of the axis or of the description, three figures, without trailing zeros."""
    text = f"{float(f'{value:.3g}'):.10f}".rstrip("0").rstrip(".")
    return text.replace(".", decimal_mark)
