"""The pictures of a plan's page, drawn for the reader of the page."""

from collections.abc import Sequence

from django.utils.safestring import SafeString, mark_safe
from django.utils.translation import gettext as _

from consult.letters.bars import NARROW_BARS, WIDE_BARS, Bar, BarChart, signed_bars_svg
from consult.letters.formats import MINUS
from consult.letters.stairs import Stair, StairChart, stairs_svg
from mitigation.letters.money import money_words
from mitigation.letters.plan_page_words import formats_here, interval_words, source_name
from mitigation.planning.contributions import OUTSIDE, Contribution, Interval
from mitigation.planning.rows import PlanRow
from surveys.models.measurands import measurand_words

FONT = "Source Sans 3"
NARROW_STAIRS = 320.0


def source_pictures(
    row: PlanRow, contributions: Sequence[Contribution]
) -> tuple[SafeString, SafeString]:
    """One bar per source with its interval and sign: for wide screens and for phones."""
    formats, unit = formats_here(), row.finding.unit
    where = f"{row.spot.room.name}, {row.spot.name}, {measurand_words(row.measurand)}"
    chart = BarChart(
        title=_("What each source adds, %(where)s") % {"where": where},
        unit=unit,
        bars=tuple(_bar(row, part) for part in contributions),
        adds=_("adds"),
        takes_off=_("takes off"),
        decimal_mark=formats.decimal_mark,
    )
    # The drawing function escapes every text that it is given.
    return (
        mark_safe(signed_bars_svg(chart, font=FONT, layout=WIDE_BARS)),
        mark_safe(signed_bars_svg(chart, font=FONT, layout=NARROW_BARS)),
    )


def _bar(row: PlanRow, part: Contribution) -> Bar:
    name, unit, adds = source_name(row.sources, part.source), row.finding.unit, part.adds
    figures = interval_words(adds, formats_here()).replace("-", MINUS)
    if part.source == OUTSIDE:
        spoken = _("from outside %(figures)s %(unit)s, which no switch removes")
    elif adds.median < 0.0:
        spoken = _("%(name)s takes off %(figures)s %(unit)s")
        turned = Interval(-adds.high, -adds.median, -adds.low)
        figures_heard = interval_words(turned, formats_here())
        return Bar(name, adds.median, adds.low, adds.high, figures,
                   spoken % {"name": name, "figures": figures_heard, "unit": unit})  # fmt: skip
    else:
        spoken = _("%(name)s adds %(figures)s %(unit)s")
    words = spoken % {"name": name, "figures": figures, "unit": unit}
    is_hatched = part.source == OUTSIDE
    return Bar(name, adds.median, adds.low, adds.high, figures, words, is_hatched)


def stair_pictures(stairs: Sequence[Stair], rows: int) -> tuple[SafeString, SafeString]:
    """Cost against rows held: for wide screens and for phones."""
    spoken = "; ".join(
        _("%(number)s: %(held)s of %(rows)s rows for %(cost)s")
        % {
            "number": stair.number,
            "held": stair.held,
            "rows": rows,
            "cost": money_words(stair.cost),
        }
        for stair in stairs
    )
    chart = StairChart(
        title=_("What more money holds"),
        spoken=spoken,
        stairs=tuple(stairs),
        rows=rows,
        cost=_("cost"),
        held=_("rows held"),
        decimal_mark=formats_here().decimal_mark,
    )
    # The drawing function escapes every text that it is given.
    return (
        mark_safe(stairs_svg(chart, font=FONT)),
        mark_safe(stairs_svg(chart, font=FONT, width=NARROW_STAIRS)),
    )
