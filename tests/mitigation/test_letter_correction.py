"""A letter corrected by a new one: the old stays, the new says which and why."""

import pytest
from django.core.exceptions import ValidationError
from django.urls import reverse
from django.utils import timezone

from consult.models import Letter
from mitigation.services.letters import correct_letter
from tests.factories import UserFactory, compared_case, ready_letter

pytestmark = pytest.mark.django_db


def test_a_letter_is_corrected_on_the_page(client) -> None:
    client.force_login(UserFactory())
    letter = ready_letter(compared_case())
    frozen = (letter.content, letter.sha256, letter.state)
    url = reverse("letter_correct", args=[letter.number])
    assert client.post(url, {"reason": ""}).status_code == 422
    assert Letter.objects.count() == 1
    answer = client.post(url, {"reason": "The bed was named wrongly."})
    new = Letter.objects.get(corrects=letter)
    assert answer.url == reverse("letter_detail", args=[new.number])
    assert letter.number in str(new.content)
    assert "The bed was named wrongly." in str(new.content)
    letter.refresh_from_db()
    assert (letter.content, letter.sha256, letter.state) == frozen
    shown = client.get(reverse("letter_detail", args=[letter.number])).content.decode()
    assert new.number in shown


def test_a_letter_is_corrected_once_and_only_when_it_is_ready(client) -> None:
    case = compared_case()
    letter = ready_letter(case)
    now = timezone.now()
    new = correct_letter(letter=letter, case=case, reason="Wrong bed.", by=None, now=now)
    with pytest.raises(ValidationError, match="corrected already"):
        correct_letter(letter=letter, case=case, reason="Again.", by=None, now=now)
    with pytest.raises(ValidationError, match="ready"):
        correct_letter(letter=new, case=case, reason="Again.", by=None, now=now)
    assert Letter.objects.count() == 2
