"""Letters that say what was put right after they were issued."""

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from consult.models import Letter
from mitigation.models import Case
from surveys.models import Correction, LetterVisit


@dataclass(frozen=True)
class Overtaken:
    """A letter that nobody corrected yet, and how many readings were after it was issued."""

    letter: Letter
    n_corrections: int
    latest: datetime


def overtaken_letters(case: Case, letters: Sequence[Letter]) -> list[Overtaken]:
    """Of `letters` those whose readings were corrected later: at most two queries."""
    made = list(
        Correction.objects.filter(reading__visit__cases=case).values_list(
            "reading__visit_id", "made_at"
        )
    )
    if not made:
        return []
    visits_of: defaultdict[int, set[int]] = defaultdict(set)
    links = LetterVisit.objects.filter(letter__in=[letter.pk for letter in letters])
    for pk, visit in links.values_list("letter_id", "visit_id"):
        visits_of[pk].add(visit)
    replaced = {letter.corrects_id for letter in letters}
    overtaken = []
    for letter in letters:
        if letter.pk in replaced:
            continue
        later = [
            at for visit, at in made if visit in visits_of[letter.pk] and at > letter.issued_at
        ]
        if later:
            overtaken.append(Overtaken(letter, len(later), max(later)))
    return overtaken
