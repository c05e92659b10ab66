"""A case is found by any word that people remember of it."""

import pytest
from django.db import connection
from django.utils import timezone

from consult.models import Contact
from mitigation.models import Case, CaseVisit, CaseWord, cases
from mitigation.models.words import query_words, words_of
from mitigation.services.search import index_all
from surveys.models import Instrument
from tests.factories import (
    CalibrationFactory,
    CaseFactory,
    ClientFactory,
    PropertyFactory,
    SpotFactory,
    VisitFactory,
    add_reading,
    compared_case,
    issue_outcome_letter,
)

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True, params=["rare words", "frequent words"])
def how(request, monkeypatch):
    """Words with few entries are looked up; where all have many, the cases are asked in turn."""
    if request.param == "frequent words":
        monkeypatch.setattr(cases, "MOST_ENTRIES_OF_RARE", (0,))
    return request.param


@pytest.fixture
def case():
    client = ClientFactory(name="Käthe Möwe-Straß")
    home = PropertyFactory(client=client, address="Uferweg 3\n24999 Neustrand")
    SpotFactory(home=home, name="bunk bed")
    CaseFactory()
    return CaseFactory(reference="EB-2026-0412", property=home)


@pytest.mark.parametrize(
    "query",
    ["EB-2026-0412", "eb-2026-04", "0412", "käthe", "KATHE", "möwe", "strass", "uferw", "24999",
     "neustrand 3", "bunk", "bedroom möw", "  Möwe,  Käthe "],
)  # fmt: skip
def test_found_by(case, query):
    assert list(Case.objects.matching(query)) == [case]


@pytest.mark.parametrize(
    "query", ["thé", "EB-2026-0413", "möwe hamburg", "'; --", "%", "_", "ferweg"]
)
def test_not_found_by(case, query):
    assert case not in Case.objects.matching(query)


@pytest.mark.parametrize(
    "query",
    ["o'neill", "O’Neill", "Orla & Finn", "Orla + O´Neill", "Kelly–Byrne", "kelly-byrne", "&"],
)  # fmt: skip
def test_a_sign_with_several_forms_hides_nobody(case, query):
    """A name pasted from a letter, or typed on a phone that turns the apostrophe."""
    home = PropertyFactory(client=ClientFactory(name="Orla & Finn O’Neill, Kelly-Byrne"))
    theirs = CaseFactory(property=home)
    found = list(Case.objects.matching(query))
    assert found == ([] if query == "&" else [theirs])


def test_no_word_means_all(case):
    assert Case.objects.matching(" ").count() == 2


def test_a_changed_name_is_found_at_once(case):
    client = case.property.client
    client.name = "Jona Ahrendt"
    client.save()
    assert not Case.objects.matching("möwe").exists()
    assert list(Case.objects.matching("ahrendt")) == [case]


def test_making_the_index_again_changes_nothing(case):
    before = set(CaseWord.objects.values_list("pk", flat=True))
    assert index_all() == 2
    assert set(CaseWord.objects.values_list("pk", flat=True)) == before
    CaseWord.objects.all().delete()
    index_all()
    assert list(Case.objects.matching("möwe")) == [case]


def test_the_search_goes_through_an_index(case, how):
    plan = Case.objects.matching("möwe").explain()
    if connection.vendor == "sqlite" and how == "rare words":
        assert "SEARCH U0 USING COVERING INDEX case_word_beginning" in plan
        assert "SCAN" not in plan, plan
    elif connection.vendor == "sqlite":  # as many cases as it takes, in the order of the list
        assert "SCAN mitigation_case USING INDEX case_newest_first" in plan
        assert "SEARCH U0 USING COVERING INDEX" in plan and "TEMP B-TREE" not in plan


def test_the_newest_come_first_however_they_are_found(case):
    newer = CaseFactory(property=case.property)
    CaseFactory.create_batch(3)
    assert list(Case.objects.matching("möwe")) == [newer, case]


def test_found_by_letter_mail_phone_contact_and_instrument():
    case = compared_case()
    client = case.property.client
    client.email, client.phone = "ute.brandt@example.org", "+49 5121 998877"
    client.save()
    Contact.objects.create(client=client, part="other", name="Ole Tann", phone="0170 4455")
    letter = issue_outcome_letter(case=case, by=None, now=timezone.now())
    instrument = case.visits.first().readings.get().instrument
    compared_case()  # another one
    for query in (
        "ute.brandt@example.org", "ute.br", "998877", "+49 5121 998877", "Tann", "0170 4455",
        letter.number, instrument.name,
    ):  # fmt: skip
        assert case in Case.objects.matching(query), query
    for query in ("ute.brandt@example.com", "998878", letter.number + "9"):
        assert not Case.objects.matching(query).exists(), query
    assert Case.objects.matching(letter.number).count() == 1


def test_the_instruments_of_a_visit_are_known_once_it_is_sealed():
    """Readings are many: the index is made when their visit is saved, as at its seal."""
    case = compared_case()
    visit = VisitFactory(property=case.property, label="open", sealed_at=None)
    CaseVisit.objects.create(case=case, visit=visit)
    meter = CalibrationFactory(instrument=Instrument.objects.create(name="Kestrel 9"))
    add_reading(visit, case.visits.first().readings.get().spot, meter, total=1.0)
    visit.save()
    assert case in Case.objects.matching("kestrel")


def test_words():
    assert words_of("EB-2026-7 Ægir") == {"eb-2026-7", "eb", "2026", "7", "aegir"}
    assert query_words("a bcd a") == ["bcd", "a"]
    assert len(query_words("a b c d e f g h i j k")) == 8
