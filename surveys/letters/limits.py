"""What limits the results of any visit, in plain words: a meter out of date, damp air."""

from collections.abc import Iterable, Iterator
from datetime import date

from django.utils.translation import gettext as _

from consult.letters.formats import Formats, listing
from surveys.letters.facts import InstrumentFacts, VisitFacts

DAMP_PERCENT = 70.0


def expired_meters(instruments: Iterable[InstrumentFacts], formats: Formats) -> Iterator[str]:
    """Meters that were used after their certificate had run out; one sentence for a meter."""
    named: set[tuple[str, date | None]] = set()
    for item in instruments:
        key = item.name, item.due_on
        if item.out_of_force_on and item.due_on and key not in named:
            named.add(key)
            yield _(
                "The calibration of the meter %(meter)s expired on %(due)s, before it was used on "
                "%(days)s. What was read on it proves nothing until it is measured again."
            ) % {
                "meter": item.name,
                "due": formats.day(item.due_on),
                "days": listing([formats.day(day) for day in item.out_of_force_on]),
            }


def damp_days(visits: Iterable[VisitFacts], formats: Formats) -> Iterator[str]:
    """Days on which readings of electric fields are doubtful."""
    for visit in visits:
        if visit.humidity_percent is not None and visit.humidity_percent > DAMP_PERCENT:
            yield _(
                "The air was damp on %(day)s (%(percent)s). In damp air readings of electric "
                "fields are doubtful: better repeated on a dry day."
            ) % {
                "day": formats.day(visit.day),
                "percent": formats.percent(f"{visit.humidity_percent:g}"),
            }
