"""What remedies achieved, for its page, its spreadsheet and the page of clients."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from django.utils.safestring import SafeString
from django.utils.translation import gettext as _

from consult.models import User
from consult.services.spreadsheets import Column, Sheet
from mitigation.calc.evidence import Pooled
from mitigation.letters.evidence_words import (
    change_sentence,
    db_words,
    ends_words,
    group_words,
    kind_words,
    left,
    left_out_sentences,
    left_words,
    next_sentence,
    offer_sentence,
    result_sentences,
)
from mitigation.letters.plan_page_words import formats_here
from mitigation.models import Case, KeptEffect, Remedy
from mitigation.pages.evidence_pictures import home_pictures
from mitigation.planning.achievements import (
    OFFERED_FROM,
    Z95,
    Achievement,
    Home,
    achievements,
)
from mitigation.services.evidence import stale_cases
from surveys.calc.arrays import none_if_nan

MOST_LISTED = 50
"""So many homes of a kind are listed under its picture; the spreadsheet has all of them."""


MOST_NAMED = 12
"""So many cases that are not up to date are named."""


@dataclass(frozen=True)
class HomeLine:
    """A home of a kind as the reader may know it; without a reference it is somebody else's."""

    home: Home
    reference: str
    share: str

    @property
    def ends(self) -> tuple[float, float]:
        half = Z95 * self.home.variance**0.5
        return left(self.home.effect - half), left(self.home.effect + half)


@dataclass(frozen=True)
class KindPart:
    """One kind in one group of measurands, in words."""

    kind: Achievement
    over: Pooled
    name: str
    group: str
    result: Sequence[str]
    left: Sequence[str]  # share, low and high; empty where there is no mean
    next_home: Sequence[str]  # low and high; the same
    decibels: str
    left_out: Sequence[str]
    offer: str
    homes: Sequence[HomeLine]
    pictures: Sequence[SafeString]

    @property
    def title(self) -> str:
        return f"{self.name}, {self.group}"

    @property
    def n_unlisted(self) -> int:
        return len(self.kind.homes) - len(self.homes)


def references_for(user: User) -> dict[int, str]:
    """The cases behind the figures that somebody may open, by key."""
    cases = Case.objects.visible_to(user).filter(effects__isnull=False)
    return dict(cases.order_by().values_list("pk", "reference"))


def all_kinds() -> dict[str, Remedy]:
    return {row.key: row for row in Remedy.objects.all()}


def kind_parts(user: User) -> list[KindPart]:
    """Every kind with rows, in the order of its names: three queries."""
    names, kinds = references_for(user), all_kinds()
    rows = achievements(KeptEffect.objects.visible_to(user).order_by("case"))
    parts = [_part(kind, kinds, names) for kind in rows]
    return sorted(parts, key=lambda part: (not part.kind.homes, part.name, part.group))


def _part(kind: Achievement, kinds: Mapping[str, Remedy], names: Mapping[int, str]) -> KindPart:
    formats, over = formats_here(), kind.pooled()
    name, group = kind_words(kind.remedy, kinds), group_words(kind.group)
    result = result_sentences(kind, over, formats)
    mean = over.mean, over.low, over.high
    homes = sorted(kind.homes, key=lambda home: home.effect)[:MOST_LISTED]
    return KindPart(
        kind=kind,
        over=over,
        name=name,
        group=group,
        result=result,
        left=left_words(*mean, formats) if kind.has_mean else (),
        next_home=ends_words(over.next_low, over.next_high, formats) if kind.has_mean else (),
        decibels=db_words(over, formats) if kind.has_mean else "",
        left_out=left_out_sentences(kind.left_out),
        offer=offer_sentence(kind, kinds) if kind.homes else "",
        homes=[_line(home, names) for home in homes],
        pictures=home_pictures(kind, over, names, f"{name}, {group}", result) if kind.homes else (),
    )


def _line(home: Home, names: Mapping[int, str]) -> HomeLine:
    half = Z95 * home.variance**0.5
    ends = home.effect, home.effect - half, home.effect + half
    share, low, high = left_words(*ends, formats_here())
    words = _("%(share)s left (%(low)s to %(high)s)")
    return HomeLine(
        home, names.get(home.case, ""), words % {"share": share, "low": low, "high": high}
    )


@dataclass(frozen=True)
class StalePart:
    """The cases whose kept rows are not up to date, and those of them that a reader may open."""

    n: int
    references: Sequence[str]

    @property
    def n_others(self) -> int:
        return self.n - len(self.references)


def stale_part(user: User) -> StalePart:
    """What the figures of a page do not have in them yet."""
    stale = stale_cases()
    cases = Case.objects.visible_to(user).filter(pk__in=stale).order_by("pk")
    return StalePart(len(stale), list(cases.values_list("reference", flat=True)[:MOST_NAMED]))


@dataclass(frozen=True)
class ClientPart:
    """One kind as clients read it: no home has a name."""

    name: str
    sentences: Sequence[str]
    pictures: Sequence[SafeString]


def client_parts() -> list[ClientPart]:
    """The kinds of which there are homes enough to hide each."""
    formats, kinds, parts = formats_here(), all_kinds(), []
    for kind in achievements(KeptEffect.objects.with_figure().order_by("case")):
        if len(kind.homes) < OFFERED_FROM:
            continue
        over = kind.pooled()
        name = kind_words(kind.remedy, kinds)
        sentences = [change_sentence(kind, over, formats), next_sentence(over, formats)]
        title = f"{name}, {group_words(kind.group)}"
        parts.append(ClientPart(title, sentences, home_pictures(kind, over, {}, title, sentences)))
    return sorted(parts, key=lambda part: part.name)


def sheets(parts: Sequence[KindPart], names: Mapping[int, str]) -> list[Sheet]:
    """The kinds, and every home of them."""
    homes = [(part, home) for part in parts for home in part.kind.homes]
    return [
        Sheet(_("Kinds of remedies"), _kind_columns(), parts),
        Sheet(_("Homes"), _home_columns(names), homes),
    ]


def _kind_columns() -> list[Column]:
    def share(name: str) -> Any:
        def cell(part: KindPart) -> float | None:
            value = none_if_nan(getattr(part.over, name))
            return None if value is None else left(min(value, 20.0))

        return cell

    return [
        (_("Remedy"), lambda part: part.name),
        (_("Measurands"), lambda part: part.group),
        (_("homes"), lambda part: part.over.homes),
        (_("left at the spot, mean [%]"), share("mean")),
        (_("mean, low [%]"), share("low")),
        (_("mean, high [%]"), share("high")),
        (_("next home, low [%]"), share("next_low")),
        (_("next home, high [%]"), share("next_high")),
        (_("tau² of ln(after/before)"), lambda part: none_if_nan(part.over.tau2)),
        (_("rows left out"), lambda part: "; ".join(part.left_out)),
    ]


def _home_columns(names: Mapping[int, str]) -> list[Column]:
    def end(sign: int) -> Any:
        return lambda row: left(row[1].effect + sign * Z95 * row[1].variance ** 0.5)

    return [
        (_("Remedy"), lambda row: row[0].name),
        (_("Measurands"), lambda row: row[0].group),
        (_("Case"), lambda row: names.get(row[1].case, "")),
        (_("rows"), lambda row: row[1].n_rows),
        (_("left at the spot [%]"), end(0)),
        (_("low [%]"), end(-1)),
        (_("high [%]"), end(1)),
    ]
