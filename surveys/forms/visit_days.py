"""What is asked about the day of a visit: one of long ago, and an assessor who is elsewhere."""

from collections.abc import Iterator
from datetime import date, timedelta

from django.utils import timezone
from django.utils.formats import date_format
from django.utils.translation import gettext as _

from consult.models import Property, User
from surveys.models import Visit
from surveys.services.assessors import visits_elsewhere

# A house assumption: a visit of half a year ago is seldom typed only now.
LONG_AGO = timedelta(days=183)


def asked_of_day(day: date, since: date | None = None) -> Iterator[str]:
    """Whether a day long before `since`, or before today, is meant."""
    today = timezone.localdate()
    if day < min(since or today, today) - LONG_AGO:
        yield _("%(day)s is long ago. Is the year right?") % {"day": date_format(day)}


def asked_of_booking(
    *, day: date, home: Property, person: User | None, name: str, by: User
) -> Iterator[str]:
    """Whether somebody is to be at two properties on one day; names what `by` may see alone."""
    others = visits_elsewhere(day=day, home=home, person=person, name=name)
    first = others.select_related("property__client").order_by("position", "pk").first()
    if first is None:
        return
    assessor, on = person.name if person else name, date_format(day)
    if not Visit.objects.visible_to(by).filter(pk=first.pk).exists():
        yield _("%(who)s has a visit at another property on %(day)s.") % {
            "who": assessor,
            "day": on,
        }
        return
    words = _("%(who)s has another visit on %(day)s: “%(visit)s”, %(client)s, %(property)s.")
    yield words % {
        "who": assessor,
        "day": on,
        "visit": first.label,
        "client": first.property.client.name,
        "property": first.property,
    }
