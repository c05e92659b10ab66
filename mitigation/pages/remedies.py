"""The catalogue of remedies in words, for its page and its spreadsheet."""

from collections.abc import Mapping
from typing import Any

from django.db.models import Count
from django.utils.translation import gettext as _

from consult.letters.countries import in_trade_words
from consult.models import Practice
from consult.services.spreadsheets import Column
from mitigation.letters.remedy_words import remedy_instructions, remedy_name
from mitigation.models import Remedy


def catalogue() -> list[dict[str, Any]]:
    """Every kind, offered ones first, with how many items have it: one query."""
    kinds = Remedy.objects.annotate(n_items=Count("items")).order_by("is_retired", "pk")
    return [
        {
            "remedy": kind,
            "name": remedy_name(kind.name),
            "instructions": remedy_instructions(kind.instructions),
            "measurands": _measurands(kind),
        }
        for kind in kinds
    ]


def _measurands(kind: Remedy) -> str:
    words = [
        _("electric fields and body voltage") if kind.is_electric else "",
        _("flux density") if kind.is_magnetic else "",
    ]
    return ", ".join(filter(None, words))


def catalogue_columns(practice: Practice) -> list[Column]:
    def of(name: str) -> Any:
        return lambda row: getattr(row["remedy"], name)

    def done_by(row: Mapping[str, Any]) -> str:
        return in_trade_words(row["remedy"].get_done_by_display(), practice.country)

    return [
        (_("Remedy"), lambda row: row["name"]),
        (_("key"), of("key")),
        (_("acts on"), lambda row: row["remedy"].get_acts_on_display()),
        (_("Measurands"), lambda row: row["measurands"]),
        (_("effect [dB], house assumption"), of("effect_db")),
        (_("spread [dB], house assumption"), of("spread_db")),
        (_("works as it should [%]"), of("works_percent")),
        (_("done by"), done_by),
        (_("what to bond, protect, test"), lambda row: row["instructions"]),
        (f"{_('usual price')} [{practice.currency}]", lambda row: _number(row["remedy"].price)),
        (_("items"), of("n_items")),
        (_("offered no more"), lambda row: _("yes") if row["remedy"].is_retired else _("no")),
    ]


def _number(price: Any) -> float | None:
    return None if price is None else float(price)
