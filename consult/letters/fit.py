"""Whether blocks fit on the first page under the head of the letter: an estimate, a little large.

A page two begins a page where page one fits, and follows at once where it does not: otherwise a
few lines would stand alone on a page.
"""

import math
from collections.abc import Sequence

from consult.letters.content import Block, Paper

ROOM_MM: dict[Paper, float] = {"A4": 150.0, "Letter": 134.0}

_LINE_MM, _CHARACTERS = 4.9, 96  # of a paragraph
_NOTE_LINE_MM, _NOTE_CHARACTERS = 3.9, 112
_ROW_LINE_MM, _ROW_CHARACTERS = 4.0, 104  # of a table over its whole width
_LEVEL_MM = 10.8


def fits_on_page_one(blocks: Sequence[Block], paper: Paper) -> bool:
    return sum(_height(block) for block in blocks) <= ROOM_MM[paper]


def _height(block: Block) -> float:
    match block["type"]:
        case "paragraph":
            return _lines(block["text"], _CHARACTERS) * _LINE_MM + 2.2
        case "heading":
            return 9.5
        case "list":
            return sum(_lines(text, _CHARACTERS) * _LINE_MM + 0.8 for text in block["entries"]) + 2
        case "note":
            lines = sum(_lines(text, _NOTE_CHARACTERS) for text in block["entries"])
            return (lines + 1) * _NOTE_LINE_MM + 5.5
        case "table":
            rows = [row for group in block["groups"] for row in group["rows"]]
            return 15.0 + sum(_row_height(row, block["columns"]) for row in rows)
        case "levels":
            return _LEVEL_MM * len(block["rows"]) + 4.6
    return 0.0


def _row_height(row: Sequence[str], columns: Sequence[Block]) -> float:
    lines = [
        _lines(text, _ROW_CHARACTERS * column["width"] / 100 - 2)
        for text, column in zip(row, columns, strict=True)
    ]
    return max(lines) * _ROW_LINE_MM + 1.7


def _lines(text: str, characters: float) -> int:
    return max(1, math.ceil(len(text) / characters))
