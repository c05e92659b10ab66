"""The practice's people who measure, and the properties that they see."""

from collections import Counter
from datetime import date

from django.core.exceptions import ValidationError
from django.db.models import QuerySet
from django.utils.translation import gettext as _

from consult.models import Assignment, Property, User
from consult.services.changes import save_row
from surveys.models import Visit
from surveys.models.names import folded


def active_assessors() -> QuerySet[User]:
    """Who can be chosen for a visit."""
    return User.objects.filter(role=User.Role.ASSESSOR, is_active=True)


def assessors_by_name() -> dict[str, User]:
    """The active assessors by their folded names; where two share one it names nobody."""
    people = [(folded(person.name), person) for person in active_assessors()]
    times = Counter(name for name, _person in people)
    return {name: person for name, person in people if times[name] == 1}


def assessor_named(name: str) -> User | None:
    """The one active assessor of that name, whatever its case and blanks."""
    return assessors_by_name().get(folded(name))


def visits_elsewhere(
    *, day: date, home: Property, person: User | None, name: str
) -> QuerySet[Visit]:
    """Visits at other properties on a day, by a person or by somebody outside of this name."""
    rows = Visit.objects.filter(date=day).exclude(property=home)
    person = person or assessor_named(name)
    if person is not None:
        return rows.filter(measured_by=person)
    outside = rows.filter(measured_by=None).exclude(assessor="")
    same = [
        pk
        for pk, assessor in outside.values_list("pk", "assessor")
        if folded(assessor) == folded(name)
    ]
    return rows.filter(pk__in=same)


def refuse_no_assessor(person: User) -> None:
    if person.role != User.Role.ASSESSOR or not person.is_active:
        raise ValidationError(_("A visit is made by an assessor who can log in."))


def assign_assessor(*, home: Property, person: User, by: User | None) -> None:
    """Let an assessor see a property and all that hangs on it."""
    if not Assignment.objects.filter(property=home, user=person).exists():
        save_row(row=Assignment(property=home, user=person), by=by)
