"""Who was deactivated sees no row any more, whatever they saw before."""

import pytest

from consult.models import Client, Letter, Property
from mitigation.models import Case
from surveys.models import Visit
from tests.cast import make_cast
from tests.factories import ready_letter

pytestmark = pytest.mark.django_db
SEEN = {
    "office": (Case, Client, Letter, Property, Visit),
    "its assessor": (Case, Client, Letter, Property, Visit),
    "its client": (Letter,),
}


@pytest.mark.parametrize("asker", SEEN)
def test_an_inactive_person_sees_nothing(asker):
    cast = make_cast()
    ready_letter(cast.case)
    person = cast.people[asker]
    for model in SEEN[asker]:
        assert model.objects.visible_to(person).exists(), model
    person.is_active = False
    for model in SEEN[asker]:
        assert not model.objects.visible_to(person).exists(), model
