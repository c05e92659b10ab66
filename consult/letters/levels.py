"""One scale: the highest missed value of each quantity between its target and the public level.

Drawn like the pictures, with every colour and font in an attribute.
"""

import math
from collections.abc import Mapping, Sequence
from typing import Any
from xml.sax.saxutils import escape

from consult.letters.marks import INK, PAPER, SECOND_INK, attribute, chevron, disc, n, text

WIDTH = 520.0
LEFT, RIGHT = 178.0, 508.0
ROW = 30.0
TRACK = 16.5  # from the top of a row

Row = Mapping[str, Any]


def levels_svg(rows: Sequence[Row], words: Mapping[str, str], font: str = "Source Serif 4") -> str:
    """A line for each quantity: target, highest value, reference level, on a logarithmic scale."""
    height = ROW * len(rows)
    sentences = [row["sentence"] for row in rows]
    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {n(WIDTH)} {n(height)}" '
        f'width="{n(WIDTH)}" height="{n(height)}" role="img" '
        f'font-family="{attribute(font)}, serif" font-size="9" fill="{INK}">',
        f"<title>{escape(': '.join([words['title'], ' '.join(sentences)]))}</title>",
        f'<rect width="{n(WIDTH)}" height="{n(height)}" fill="{PAPER}"/>',
    ]
    for index, row in enumerate(rows):
        parts.append(_row(row, ROW * index))
    return "".join([*parts, "</svg>"])


def _row(row: Row, top: float) -> str:
    track = top + TRACK
    target, value, level = (_place(row[key], row) for key in ("limit", "value", "level"))
    line = (
        f'<line x1="{n(LEFT)}" y1="{n(track)}" x2="{n(RIGHT)}" y2="{n(track)}" '
        f'stroke="{SECOND_INK}" stroke-width="0.8"/>'
    )
    anchor = "end" if value > level - 90.0 else "middle"
    return "".join(
        [
            text(0, top + 11.5, row["name"], size=9),
            text(0, top + 22, row["place"], size=8.6, fill=SECOND_INK),
            line,
            _tick(target, track, 0.9),
            _tick(level, track, 2.2),
            disc(value, track),
            _open_end(value, track) if row["open_end"] else "",
            text(min(value, level - 20), track - 7.5, row["value_text"], size=9, weight=600,
                 anchor=anchor),
            text(target, track + 11.5, row["limit_text"], size=8.6, anchor="start"),
            text(RIGHT, track + 11.5, row["level_text"], size=8.6, anchor="end"),
        ]
    )  # fmt: skip


def _place(value: float, row: Row) -> float:
    """Where a value stands, between a little under the target and a little over the level."""
    low = math.log10(row["limit"]) - 0.1
    high = math.log10(max(row["level"], row["value"])) + 0.1
    share = (math.log10(value) - low) / (high - low)
    return LEFT + share * (RIGHT - LEFT)


def _tick(x: float, track: float, width: float) -> str:
    return (
        f'<line x1="{n(x)}" y1="{n(track - 5)}" x2="{n(x)}" y2="{n(track + 5)}" '
        f'stroke="{INK}" stroke-width="{n(width)}"/>'
    )


def _open_end(x: float, track: float) -> str:
    """The meter found no end: the value may lie further on."""
    return (
        f'<g stroke="{INK}" stroke-width="1.1"><line x1="{n(x)}" y1="{n(track)}" '
        f'x2="{n(x + 15)}" y2="{n(track)}"/>{chevron(x + 16, track, 1)}</g>'
    )
