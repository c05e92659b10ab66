"""The pictures of what remedies achieved and of promises, drawn for the reader of the page."""

from collections.abc import Mapping, Sequence

import numpy as np
from django.utils.safestring import SafeString, mark_safe
from django.utils.translation import gettext as _

from consult.letters.homes import NARROW_HOMES, WIDE_HOMES, HomeChart, HomeMark, homes_svg
from consult.letters.reliability import ClassMark, ReliabilityChart, reliability_svg
from mitigation.calc.evidence import Pooled
from mitigation.calc.promises import CLASSES, wilson
from mitigation.letters.evidence_words import left
from mitigation.letters.plan_page_words import formats_here
from mitigation.planning.achievements import Z95, Achievement, Home, Kept

FONT = "Source Sans 3"
_WIDEST = 20.0  # of a logarithm: beyond it the scale has ended long ago


def home_pictures(
    kind: Achievement, over: Pooled, names: Mapping[int, str], title: str, result: Sequence[str]
) -> tuple[SafeString, SafeString]:
    """All homes of a kind, the strongest first: for wide screens and for phones."""
    homes = sorted(kind.homes, key=lambda home: home.effect)
    chart = HomeChart(
        spoken=f"{title}: {' '.join(result)}",
        homes=tuple(_mark(home, names.get(home.case, "")) for home in homes),
        mean=_over(_("mean"), over.mean, over.low, over.high) if kind.has_mean else None,
        next_home=_over(_("next home"), over.mean, over.next_low, over.next_high)
        if kind.has_mean
        else None,
        left=_("left of the field at the spot [%]"),
        unchanged=_("no change"),
        decimal_mark=formats_here().decimal_mark,
    )
    # The drawing function escapes every text that it is given.
    return (
        mark_safe(homes_svg(chart, font=FONT, layout=WIDE_HOMES)),
        mark_safe(homes_svg(chart, font=FONT, layout=NARROW_HOMES)),
    )


def _mark(home: Home, name: str) -> HomeMark:
    half = Z95 * float(np.sqrt(home.variance))
    return _over(name, home.effect, home.effect - half, home.effect + half)


def _over(name: str, value: float, low: float, high: float) -> HomeMark:
    shares = (left(min(max(part, -_WIDEST), _WIDEST)) for part in (value, low, high))
    return HomeMark(name, *shares)


def reliability_picture(kept: Kept) -> SafeString:
    """Foretold probability against what was met, in its classes."""
    marks, spoken = [], []
    for (rows, mean, share), low, high in zip(kept.classes, CLASSES, CLASSES[1:], strict=False):
        if not rows:
            continue
        ends = wilson(round(share * rows), rows)
        marks.append(ClassMark(mean, share, *ends, _("n = %(n)d") % {"n": rows}))
        words = _("foretold %(low)d to %(high)d %%: %(met)d of %(rows)d met")
        values = {"low": 100 * low, "high": 100 * high, "met": round(share * rows), "rows": rows}
        spoken.append(words % values)
    chart = ReliabilityChart(
        spoken=f"{_('Foretold and met')}: {'; '.join(spoken)}",
        marks=tuple(marks),
        ends=CLASSES,
        foretold=_("foretold probability [%]"),
        met=_("share that was met [%]"),
    )
    # The drawing function escapes every text that it is given.
    return mark_safe(reliability_svg(chart, font=FONT))
