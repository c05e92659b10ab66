"""What remedies achieved, and how promises were kept, in the reader's words."""

import math
from collections.abc import Mapping

from django.utils.text import capfirst
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop, ngettext

from consult.calc.rounding import rounded, rounded_bound, rounded_interval
from consult.letters.formats import Formats
from consult.letters.homes import LEAST, MOST
from mitigation.calc.evidence import Pooled
from mitigation.letters.remedy_words import remedy_name
from mitigation.models import KeptEffect, KeptPromise, Remedy
from mitigation.planning.achievements import OFFERED_FROM, Achievement, decibels
from mitigation.planning.evidence import (
    AT_LEAST,
    BETWEEN_KINDS,
    DIFFERENTLY,
    NO_COMPARISON,
    NO_FIGURE,
    SEVERAL,
)

GROUPS = {
    KeptEffect.Group.ELECTRIC: gettext_noop("electric fields and body voltage"),
    KeptEffect.Group.MAGNETIC: gettext_noop("magnetic flux density"),
}
WHY_LEFT_OUT = {
    AT_LEAST: gettext_noop("the reduction is known as “at least” alone"),
    NO_COMPARISON: gettext_noop("before and after cannot be compared"),
    SEVERAL: gettext_noop("several remedies acted there, which count as a kind of their own"),
    DIFFERENTLY: gettext_noop("it was done differently"),
    NO_FIGURE: gettext_noop("neither reading gives a figure"),
}


def kind_words(remedy: str, kinds: Mapping[str, Remedy]) -> str:
    """A kind, or kinds that acted together, by their names."""
    names = [remedy_name(kinds[key].name) if key in kinds else key for key in keys_of(remedy)]
    return capfirst(BETWEEN_KINDS.join(names))


def keys_of(remedy: str) -> list[str]:
    """The keys of the catalogue that kept rows join."""
    return remedy.split(BETWEEN_KINDS)


def group_words(group: str) -> str:
    return _(GROUPS[KeptEffect.Group(group)])


def left(ln_ratio: float) -> float:
    """What is left of the field. [%]"""
    return 100.0 * math.exp(ln_ratio)


def left_words(mean: float, low: float, high: float, formats: Formats) -> tuple[str, str, str]:
    """What is left with the ends of its interval, from logarithms: "12 %", "9 %", "16 %"."""
    shares = [left(min(max(value, -20.0), 20.0)) for value in (mean, low, high)]
    share, at_least, at_most = (formats.percent(part) for part in rounded_interval(*shares))
    return share, at_least, at_most


def ends_words(low: float, high: float, formats: Formats) -> tuple[str, str]:
    """The ends of what may be left, each rounded outward by itself: they may lie far apart."""
    lowest, highest = (left(min(max(value, -20.0), 20.0)) for value in (low, high))
    at_least = rounded_bound(lowest, up=False) if lowest >= LEAST else "0"
    if highest > MOST:
        return formats.percent(at_least), _("more than %(share)s") % {
            "share": formats.percent(f"{MOST:.0f}")
        }
    return formats.percent(at_least), formats.percent(rounded_bound(highest, up=True))


def db_words(over: Pooled, formats: Formats) -> str:
    """The mean as an effect, with its interval."""
    ends = [decibels(value) for value in (over.mean, over.high, over.low)]
    value, low, high = (formats.number(part) for part in rounded_interval(*ends))
    return f"{value} " + _("(%(low)s to %(high)s)") % {"low": low, "high": high}


def result_sentences(kind: Achievement, over: Pooled, formats: Formats) -> list[str]:
    """What happened at the spots of the homes, and what a next one may expect."""
    if not kind.has_mean:
        words = ngettext(
            "%(n)d home so far: a mean needs three.",
            "%(n)d homes so far: a mean needs three.",
            over.homes,
        )
        return [words % {"n": over.homes}]
    share, low, high = left_words(over.mean, over.low, over.high, formats)
    words = _(
        "In %(n)d homes %(share)s of the field was left at the spot on the mean "
        "(95 %% interval %(low)s to %(high)s)."
    )
    return [
        words % {"n": over.homes, "share": share, "low": low, "high": high},
        next_sentence(over, formats),
    ]


def next_sentence(over: Pooled, formats: Formats) -> str:
    """What a next home may expect."""
    low, high = ends_words(over.next_low, over.next_high, formats)
    words = (
        _("In a next home between %(low)s and %(high)s may be left.")
        if over.next_high < 0.0
        else _("In a next home between %(low)s and %(high)s may be left; 100 %% is no change.")
    )
    return words % {"low": low, "high": high}


def change_sentence(kind: Achievement, over: Pooled, formats: Formats) -> str:
    """The same for a client: fallen, risen, or neither for sure."""
    values = {"n": over.homes, "field": _FIELDS[KeptEffect.Group(kind.group)]()}
    if over.low <= 0.0 <= over.high:
        words = _("In %(n)d homes it is not certain that it changed %(field)s at the spot.")
        return words % values
    falls = over.high < 0.0
    ends = sorted(100.0 * abs(math.exp(value) - 1.0) for value in (over.low, over.mean, over.high))
    low, share, high = ends
    figures = [formats.percent(part) for part in rounded_interval(share, low, high)]
    words = (
        _(
            "In %(n)d homes %(field)s at the spot fell by %(share)s on the mean "
            "(95 %% interval %(low)s to %(high)s)."
        )
        if falls
        else _(
            "In %(n)d homes %(field)s at the spot rose by %(share)s on the mean "
            "(95 %% interval %(low)s to %(high)s)."
        )
    )
    return words % (values | dict(zip(("share", "low", "high"), figures, strict=True)))


_FIELDS = {
    KeptEffect.Group.ELECTRIC: lambda: _("the electric field"),
    KeptEffect.Group.MAGNETIC: lambda: _("the magnetic field"),
}


def offer_sentence(kind: Achievement, kinds: Mapping[str, Remedy]) -> str:
    """Whether the mean is offered as effect of an item, and if not, why."""
    keys = keys_of(kind.remedy)
    remedy = kinds.get(keys[0])
    if len(keys) > 1 or remedy is None:
        return _("It is not offered as effect: an item has one kind.")
    if remedy.acts_on != Remedy.ActsOn.SPOTS:
        return _(
            "It is not offered as effect of an item: what happened at the spot is not what it does "
            "to its circuit or appliance, because others go on adding to the field there."
        )
    if remedy.effect_db is None:
        return _("It is not offered as effect: that is given with each item, from a reading.")
    if len(kind.homes) < OFFERED_FROM:
        words = _("From %(n)d homes on it is offered as effect of an item beside the assumption.")
        return words % {"n": OFFERED_FROM}
    return _(
        "It is offered as effect of an item beside the assumption of the house. A person chooses; "
        "nothing takes it by itself."
    )


def left_out_sentences(left_out: Mapping[str, int]) -> list[str]:
    """Rows that do not count, each reason in words with their number."""
    sentences = []
    for reason, count in sorted(left_out.items()):
        words = ngettext("%(n)d row: %(why)s", "%(n)d rows: %(why)s", count)
        sentences.append(words % {"n": count, "why": _(WHY_LEFT_OUT[reason])})
    return sentences


def why_not_kept(row: KeptPromise) -> list[str]:
    """In what a row did not come out as foretold."""
    words = []
    if not row.inside:
        words.append(_("higher than foretold") if row.ln_ratio > 0 else _("lower than foretold"))
    if not row.met:
        words.append(_("target missed"))
    return words


def number_words(value: float, formats: Formats) -> str:
    """A figure without an uncertainty."""
    return formats.number(rounded(value).value)
