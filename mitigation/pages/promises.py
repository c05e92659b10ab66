"""How promises were kept, for its page, its spreadsheet and the page of clients."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from django.utils.safestring import SafeString
from django.utils.translation import gettext as _

from consult.calc.rounding import rounded_interval
from consult.models import User
from consult.services.spreadsheets import Column
from mitigation.letters.evidence_words import number_words, why_not_kept
from mitigation.letters.plan_page_words import formats_here, wanted_words
from mitigation.models import Case, KeptPromise
from mitigation.pages.evidence_pictures import reliability_picture
from mitigation.planning.achievements import OFFERED_FROM, Kept, promises
from surveys.models import Measurand
from surveys.models.measurands import measurand_words


@dataclass(frozen=True)
class PromisePart:
    """All promises together, in words and figures."""

    kept: Kept
    inside: str
    interval: str
    picture: SafeString | str

    @property
    def n(self) -> int:
        return self.kept.over.rows

    @property
    def brier(self) -> str:
        return number_words(self.kept.over.brier, formats_here())

    @property
    def ratio(self) -> str:
        """The mean logarithm with its sign."""
        return formats_here().number(f"{self.kept.over.mean_ln:+.3f}")


@dataclass(frozen=True)
class PromiseLine:
    """A row that did not come out as foretold."""

    row: KeptPromise
    place: str
    measurand: str
    unit: str
    foretold: str
    after: str
    probability: str
    why: str


def promise_part(rows: Sequence[KeptPromise] | None = None) -> PromisePart:
    """All of the practice: one query, none where the rows are given."""
    kept = promises(all_promises() if rows is None else rows)
    formats = formats_here()
    over = kept.over
    if not over.rows:
        return PromisePart(kept, "", "", "")
    figures = (100 * share for share in (over.inside, over.inside_low, over.inside_high))
    share, low, high = (formats.percent(part) for part in rounded_interval(*figures))
    interval = _("%(low)s to %(high)s") % {"low": low, "high": high}
    return PromisePart(kept, share, interval, reliability_picture(kept))


def class_lines(kept: Kept) -> list[dict[str, Any]]:
    """The five classes as the table beside the picture has them."""
    return [
        {"low": 20 * at, "high": 20 * at + 20, "rows": rows, "met": round(share * rows)}
        for at, (rows, _mean, share) in enumerate(kept.classes)
        if rows
    ]


def broken_lines(user: User) -> list[PromiseLine]:
    """Those of the cases that somebody may open, the latest case first: one query."""
    cases = Case.objects.visible_to(user).order_by().values("pk")
    rows = KeptPromise.objects.visible_to(user).broken().filter(case__in=cases)
    named = rows.select_related("case", "prediction__spot__room")
    return [promise_line(row) for row in named.order_by("-case", "prediction")]


def promise_line(row: KeptPromise) -> PromiseLine:
    formats, prediction, spot = formats_here(), row.prediction, row.prediction.spot
    figures = (prediction.median or 0.0, prediction.low or 0.0, prediction.high or 0.0)
    median, low, high = (formats.number(part) for part in rounded_interval(*figures))
    interval = _("(%(low)s to %(high)s)") % {"low": low, "high": high}
    return PromiseLine(
        row=row,
        place=f"{spot.room.name}, {spot.name}",
        measurand=measurand_words(prediction.measurand),
        unit=Measurand(prediction.measurand).unit,
        foretold=f"{median} {interval}",
        after=number_words(row.after, formats),
        probability=wanted_words(round(row.probability, 2)),
        why=", ".join(why_not_kept(row)),
    )


def broken_columns() -> list[Column]:
    def foretold(name: str) -> Any:
        return lambda line: getattr(line.row.prediction, name)

    return [
        (_("Case"), lambda line: line.row.case.reference),
        (_("Spot"), lambda line: line.place),
        (_("Quantity"), lambda line: line.measurand),
        (_("unit"), lambda line: line.unit),
        (_("foretold"), foretold("median")),
        (_("foretold, low"), foretold("low")),
        (_("foretold, high"), foretold("high")),
        (_("found"), lambda line: line.row.after),
        (_("probability of the target [%]"), lambda line: 100 * line.row.probability),
        (_("what was not kept"), lambda line: line.why),
    ]


def promises_for_clients() -> PromisePart | None:
    """The same without rows; None where the homes are too few to hide each."""
    rows = all_promises()
    homes = {row.case_id for row in rows}
    return promise_part(rows) if len(homes) >= OFFERED_FROM else None


def all_promises() -> list[KeptPromise]:
    """In an order of their own, so that sums come out the same to the last digit."""
    return list(KeptPromise.objects.order_by("case", "prediction"))
