"""Which cases say something of remedies, and a digest of all that this rests on.

Readings are not looked at: those of a sealed visit stay as they are, and with them the
certificates that they stand on, so the visits and what was corrected in them tell it all.
"""

import json
from collections.abc import Iterable
from hashlib import sha256
from typing import Any

from django.db.models import Q, QuerySet

from mitigation.models import Case, CaseEvidence, CaseVisit, Decision, PlanItem, Prediction
from mitigation.planning.evidence import RULES
from surveys.models import Correction
from surveys.models.guidelines import Band

_CASE = ("pk", "guideline", "target_band", "placement_percent")
_ITEM = ("pk", "remedy__key", "remedy__acts_on", "remedy__is_electric", "remedy__is_magnetic",
         "room", "state", "done_on")  # fmt: skip
_NAMED = {"spots": "spots", "circuits": "circuits__name", "appliances": "appliances__name"}
_VISIT = ("visit", "visit__kind", "visit__date", "visit__position")

Facts = Iterable[tuple[Any, ...]]


def cases_with_works() -> QuerySet[Case]:
    """The cases in which something was done or accepted, and those of which rows are kept."""
    done = PlanItem.objects.filter(state__in=PlanItem.CARRIED_OUT).order_by().values("case")
    accepted = Decision.objects.filter(answer=Decision.Answer.ACCEPTED)
    promised = accepted.order_by().values("plan__case")
    kept = CaseEvidence.objects.order_by().values("case")
    rows = Case.objects.filter(Q(pk__in=done) | Q(pk__in=promised) | Q(pk__in=kept))
    return rows.order_by("pk")


def basis_digests(cases: QuerySet[Case]) -> dict[int, str]:
    """A digest of what the evidence of each case rests on: a fixed number of queries."""
    digests = {pk: sha256(json.dumps(RULES).encode()) for pk in cases.values_list("pk", flat=True)}
    bands = _bands()
    for name, facts in _facts(cases.order_by().values("pk")).items():
        for case, *fact in facts:
            if case in digests:
                words = json.dumps([name, fact], default=str)
                digests[case].update(words.encode())
                if name == "case":
                    digests[case].update(bands.get(fact[0], "").encode())
    return {pk: digest.hexdigest() for pk, digest in digests.items()}


def _facts(cases: QuerySet[Case, Any]) -> dict[str, Facts]:
    """What is looked at, each fact after the key of its case, in an order of its own."""
    items = PlanItem.objects.filter(case__in=cases, state__in=PlanItem.CARRIED_OUT).order_by("pk")
    visits = CaseVisit.objects.filter(case__in=cases, visit__sealed_at__isnull=False)
    corrected = Correction.objects.filter(reading__visit__cases__in=cases).order_by("pk")
    accepted = Decision.objects.filter(plan__case__in=cases, answer=Decision.Answer.ACCEPTED)
    promised = Prediction.objects.filter(plan__case__in=cases, plan__decision__in=accepted)
    return {
        "case": Case.objects.filter(pk__in=cases).order_by("pk").values_list(*_CASE),
        "item": items.values_list("case", *_ITEM),
        **{word: _named(items, word, name) for word, name in _NAMED.items()},
        "visit": visits.order_by("visit").values_list("case", *_VISIT),
        "correction": corrected.values_list("reading__visit__cases", "pk"),
        "decision": accepted.order_by("pk").values_list(
            "plan__case", "pk", "option", "items", "decided_at"
        ),
        "prediction": promised.order_by("pk").values_list("plan__case", "pk"),
    }


def _named(items: QuerySet[PlanItem], word: str, name: str) -> Facts:
    """What items name of one kind."""
    rows = items.filter(**{f"{word}__isnull": False}).order_by("pk", name)
    return rows.values_list("case", "pk", name)


def _bands() -> dict[int, str]:
    """The bounds of each guideline as words."""
    words: dict[int, str] = {}
    for guideline, *band in Band.objects.order_by("guideline", "measurand", "number").values_list(
        "guideline", "measurand", "number", "upper"
    ):
        words[guideline] = words.get(guideline, "") + json.dumps(band)
    return words
