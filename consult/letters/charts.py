"""What a picture of before and after shows, and where on the sheet things stand."""

import math
from collections.abc import Iterable
from dataclasses import dataclass


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
    figures: str = ""  # both values, as on paper; then `interval` stands in the description alone
    days: str = ""  # of a side that is not of the latest visit of its kind


@dataclass(frozen=True)
class Chart:
    """One measurand with its own scale."""

    name: str
    unit: str
    bounds: tuple[float, float, float]
    band_words: tuple[str, str, str, str]
    limit: float
    limit_text: str
    rows: tuple[PictureRow, ...]
    identifier: str = "chart"


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
    reduction: str = ""  # over the figures, with before and after


@dataclass(frozen=True)
class Layout:
    """Where things stand; lengths are in the units of the drawing, from the top of a row."""

    width: float
    plot_left: float
    plot_right: float
    row_height: float
    names_y: float  # base line of the spot's name; its room stands ten under it
    marks_y: float  # middle of the marks
    figures_beside: bool  # the reduction stands at the right of the scale, or else above it
    header_top: float  # where the words of the bands begin; a title needs room above them
    name_characters: int  # how much of a name has room


# Names at the left of the scale, reductions at its right: paper, and screens as wide as paper.
# Printed 165 mm wide, a text of 8.4 is 7.5 points high.
WIDE = Layout(
    520.0, 136.0, 376.0, 18.6, names_y=8.2, marks_y=9.6, figures_beside=True,
    header_top=2.0, name_characters=31,
)  # fmt: skip
# Names and reductions above the scale, which takes the whole width: a phone.
NARROW = Layout(
    320.0, 10.0, 310.0, 48.0, names_y=13.0, marks_y=34.0, figures_beside=False,
    header_top=24.0, name_characters=27,
)  # fmt: skip


@dataclass(frozen=True)
class Axis:
    """A logarithmic scale between two values of the unit."""

    low: float
    high: float
    layout: Layout

    def x(self, value: float) -> float:
        """Place of a value, kept inside the plot."""
        kept = min(max(value, self.low), self.high)
        share = math.log(kept / self.low) / math.log(self.high / self.low)
        left, right = self.layout.plot_left, self.layout.plot_right
        return left + share * (right - left)


def axis_for(chart: Chart, layout: Layout = WIDE) -> Axis:
    """A scale that shows all four bands and every point."""
    low, high = chart.bounds[0] / 3.5, chart.bounds[2] * 3.0
    for point in _points(chart.rows):
        if point.value > 0.0:
            low = min(low, point.value / 1.6)
        if point.low > low / 3.0:  # an interval that reaches towards zero is cut at the edge
            low = min(low, point.low / 1.1)
        high = max(high, point.high * 1.3, point.value * 1.6)
    # The first band is a fifth of the scale at least, so that its words have room.
    low = min(low, chart.bounds[0] * (chart.bounds[0] / high) ** 0.25)
    return Axis(low, high, layout)


def _points(rows: Iterable[PictureRow]) -> list[Point]:
    return [point for row in rows for point in (row.before, row.after) if point is not None]
