"""Letters that say what was put right after they were issued."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from consult.models import Letter
from mitigation.models import Case, Outcome
from surveys.models import Correction, Visit

MEASURED = (Letter.Kind.SURVEY_REPORT, Letter.Kind.OUTCOME)


@dataclass(frozen=True)
class Overtaken:
    """A letter that nobody corrected yet, and how many readings were after it was issued."""

    letter: Letter
    n_corrections: int
    latest: datetime


def overtaken_letters(case: Case, letters: Sequence[Letter]) -> list[Overtaken]:
    """Of `letters` those whose readings were corrected later: at most three queries.

    An outcome letter names its two visits, a survey report is about baselines.
    """
    kind_of = dict(case.visits.values_list("pk", "kind"))
    made = list(
        Correction.objects.filter(reading__visit__in=kind_of).values_list(
            "reading__visit_id", "made_at"
        )
    )
    if not made:
        return []
    outcomes = Outcome.objects.filter(letter__in=[letter.pk for letter in letters])
    visits_of = {
        letter: {baseline, follow_up}
        for letter, baseline, follow_up in outcomes.values_list(
            "letter_id", "baseline_id", "follow_up_id"
        )
    }
    baselines = {pk for pk, kind in kind_of.items() if kind == Visit.Kind.BASELINE}
    replaced = {letter.corrects_id for letter in letters}
    overtaken = []
    for letter in letters:
        if letter.kind not in MEASURED or letter.pk in replaced:
            continue
        about = visits_of.get(letter.pk, baselines)
        later = [at for visit, at in made if visit in about and at > letter.issued_at]
        if later:
            overtaken.append(Overtaken(letter, len(later), max(later)))
    return overtaken
