"""A picture of what more money holds: a staircase of cost against rows held."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from xml.sax.saxutils import escape

from consult.letters.bars import ticks
from consult.letters.marks import INK, PAPER, SECOND_INK, attribute, disc, n, plain, text

RULE = "#d9d6cd"
Scale = Callable[[float], float]
_TOP, _BOTTOM, _LEFT, _RIGHT = 22.0, 34.0, 30.0, 16.0


@dataclass(frozen=True)
class Stair:
    """A plan: what it costs, how many rows it holds, its number in the list beside."""

    cost: float
    held: int
    number: int


@dataclass(frozen=True)
class StairChart:
    """Plans from the cheapest on; `spoken` says them all."""

    title: str
    spoken: str
    stairs: tuple[Stair, ...]
    rows: int
    cost: str
    held: str
    decimal_mark: str = "."


def stairs_svg(
    chart: StairChart, *, font: str = "Source Serif 4", width: float = 520.0, height: float = 150.0
) -> str:
    """One disc for each plan, with its number; the line between says what less money holds."""
    most = max((stair.cost for stair in chart.stairs), default=0.0) or 1.0
    right, bottom = width - _RIGHT, height - _BOTTOM

    def x(cost: float) -> float:
        return _LEFT + cost / (most * 1.06) * (right - _LEFT)

    def y(held: float) -> float:
        return bottom - held / max(chart.rows, 1) * (bottom - _TOP)

    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {n(width)} {n(height)}" '
        f'width="{n(width)}" height="{n(height)}" role="img" '
        f'font-family="{attribute(font)}, sans-serif" font-size="10" fill="{INK}">',
        f"<title>{escape(f'{chart.title}: {chart.spoken}')}</title>",
        f'<rect width="{n(width)}" height="{n(height)}" fill="{PAPER}"/>',
    ]
    parts += _grid(chart, x, y, right, bottom, most)
    parts += [
        f'<path class="stairs" d="{_line(chart.stairs, x, y, right)}" fill="none" '
        f'stroke="{INK}" stroke-width="1.4"/>',
        *(
            disc(x(stair.cost), y(stair.held))
            + text(x(stair.cost) + 6, y(stair.held) - 5, str(stair.number), size=9, weight=600)
            for stair in chart.stairs
        ),
        text(0, 8.5, chart.held, size=8.5, fill=SECOND_INK),
        text(right, height - 5, chart.cost, size=8.5, fill=SECOND_INK, anchor="end"),
        "</svg>",
    ]
    return "".join(parts)


def _grid(
    chart: StairChart, x: Scale, y: Scale, right: float, bottom: float, most: float
) -> list[str]:
    """A line for each number of rows, and the scale of the cost."""
    parts = []
    for held in _whole(chart.rows):
        parts.append(
            f'<line x1="{n(_LEFT)}" y1="{n(y(held))}" x2="{n(right)}" y2="{n(y(held))}" '
            f'stroke="{RULE}" stroke-width="0.6"/>'
            + text(_LEFT - 6, y(held) + 3, str(held), size=9, anchor="end")
        )
    for cost in ticks(0.0, most * 1.06, (right - _LEFT) / 52.0):
        parts.append(
            f'<line x1="{n(x(cost))}" y1="{n(bottom)}" x2="{n(x(cost))}" y2="{n(bottom + 4)}" '
            f'stroke="{INK}" stroke-width="0.7"/>'
            + text(x(cost), bottom + 13.5, plain(cost, chart.decimal_mark), size=8.5,
                   anchor="middle")
        )  # fmt: skip
    return parts


def _whole(rows: int) -> Sequence[int]:
    step = max(1, -(-rows // 8))
    return range(0, rows + 1, step)


def _line(stairs: Sequence[Stair], x: Scale, y: Scale, right: float) -> str:
    pieces = []
    for at, stair in enumerate(stairs):
        ends = x(stairs[at + 1].cost) if at + 1 < len(stairs) else right
        pieces.append(f"{'M' if not at else 'L'}{n(x(stair.cost))} {n(y(stair.held))}")
        pieces.append(f"L{n(ends)} {n(y(stair.held))}")
    return "".join(pieces)
