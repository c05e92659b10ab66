"""What of the measurements a letter speaks of, kept as rows."""

from collections.abc import Sequence

from django.db import transaction

from consult.models import Letter
from surveys.models import LetterVisit, Visit


@transaction.atomic
def link_visits(*, letter: Letter, visits: Sequence[Visit]) -> None:
    """Keep which visits `letter` reports; a visit that is linked already stays as it is."""
    linked = set(letter.letter_visits.values_list("visit", flat=True))
    for visit in visits:
        if visit.pk not in linked:
            row = LetterVisit(letter=letter, visit=visit)
            row.full_clean()
            row.save(force_insert=True)
