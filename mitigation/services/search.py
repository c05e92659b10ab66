"""The index by which a case is found: reference, client and contacts, address, spots, letters.

Of the client and the contacts name, e-mail and phone count, of the visits the instruments.

The words are folded (no case, no accents) and matched from their beginning, so that a list of
50,000 cases is searched through one index on both databases.
"""

from collections import defaultdict
from collections.abc import Iterable, Iterator
from typing import Any

from django.db import models, transaction
from django.db.models.signals import post_save
from django.dispatch import receiver

from consult.models import Client, Contact, Property
from mitigation.models import Case, CaseLetter, CaseVisit, CaseWord, FormerReference
from mitigation.models.words import words_of
from surveys.models import Reading, Room, Spot, Visit

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
    Contact: "property__client__contacts",
    Room: "property__rooms",
    Spot: "property__rooms__spots",
    CaseLetter: "case_letters",
    CaseVisit: "case_visits",
    Visit: "visits",
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
        "pk", "reference", "property_id", "property__address", *(
            f"property__client__{name}" for name in ("name", "email", "phone")
        )
    )  # fmt: skip
    for case, reference, home, *texts in rows:
        wanted[case] = words_of(reference, *texts)
        homes[home].append(case)
    for case, reference in FormerReference.objects.filter(case__in=keys).values_list(
        "case_id", "reference"
    ):
        wanted[case] |= words_of(reference)
    places = Spot.objects.filter(room__property__in=list(homes))
    for home, room, spot in places.values_list("room__property_id", "room__name", "name"):
        for case in homes[home]:
            wanted[case] |= words_of(room, spot)
    for case, words in _further_words(keys):
        wanted[case] |= words
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


def _further_words(keys: list[int]) -> Iterator[tuple[int, set[str]]]:
    """Of the contacts, the letters and the instruments of cases, each with its case."""
    cases = Case.objects.filter(pk__in=keys).order_by()
    contacts = cases.filter(property__client__contacts__isnull=False).values_list(
        "pk", *(f"property__client__contacts__{name}" for name in ("name", "email", "phone"))
    )
    letters = CaseLetter.objects.filter(case__in=keys).values_list("case", "letter__number")
    instruments = (
        Reading.objects.filter(visit__cases__in=keys)
        .order_by()
        .values_list("visit__cases", "instrument__name")
        .distinct()
    )
    for case, *texts in (*contacts, *letters, *instruments):
        yield case, words_of(*texts)
