"""The index by which a case is found: the words of its reference, client, address and spots.

The words are folded (no case, no accents) and matched from their beginning, so that a list of
50,000 cases is searched through one index on both databases.
"""

from collections import defaultdict
from collections.abc import Iterable
from typing import Any

from django.db import models, transaction
from django.db.models.signals import post_save
from django.dispatch import receiver

from consult.models import Client, Property
from mitigation.models import Case, CaseWord, FormerReference
from mitigation.models.words import words_of
from surveys.models import Room, Spot

BATCH = 2_000


@transaction.atomic
def index_cases(*, cases: Iterable[int]) -> None:
    """Make the words of these cases anew; rows whose words did not change are left alone."""
    keys = sorted(set(cases))
    for start in range(0, len(keys), BATCH):
        _index_batch(keys[start : start + BATCH])


def index_all() -> int:
    """Make the words of every case anew; says how many cases there are."""
    keys = list(Case.objects.order_by("pk").values_list("pk", flat=True))
    index_cases(cases=keys)
    return len(keys)


# Cases are found by rows of apps that do not know cases, so signals of these rows come in here.
_CASES_OF: dict[type[models.Model], str] = {
    Case: "pk",
    Property: "property",
    Client: "property__client",
    Room: "property__rooms",
    Spot: "property__rooms__spots",
}


@receiver(post_save)
def _index_after_save(sender: type[models.Model], instance: Any, raw: bool, **_: Any) -> None:
    path = _CASES_OF.get(sender)
    if path is not None and not raw:
        index_cases(cases=Case.objects.filter(**{path: instance.pk}).values_list("pk", flat=True))


def _index_batch(keys: list[int]) -> None:
    wanted: dict[int, set[str]] = {}
    homes = defaultdict(list)
    rows = Case.objects.filter(pk__in=keys).values_list(
        "pk", "reference", "property_id", "property__client__name", "property__address"
    )
    for case, reference, home, client, address in rows:
        wanted[case] = words_of(reference, client, address)
        homes[home].append(case)
    for case, reference in FormerReference.objects.filter(case__in=keys).values_list(
        "case_id", "reference"
    ):
        wanted[case] |= words_of(reference)
    places = Spot.objects.filter(room__property__in=list(homes))
    for home, room, spot in places.values_list("room__property_id", "room__name", "name"):
        for case in homes[home]:
            wanted[case] |= words_of(room, spot)
    have = defaultdict(set)
    for case, word in CaseWord.objects.filter(case__in=keys).values_list("case_id", "word"):
        have[case].add(word)
    for case, words in have.items():
        gone = words - wanted.get(case, set())
        if gone:
            CaseWord.objects.filter(case=case, word__in=gone).delete()
    CaseWord.objects.bulk_create(
        (
            CaseWord(case_id=case, word=word)
            for case, words in wanted.items()
            for word in sorted(words - have[case])
        ),
        batch_size=BATCH,
        ignore_conflicts=True,
    )
