"""The list of cases: searched while one types, filtered, exported, at a constant price."""

import io

import pytest
from django.urls import reverse
from django.utils import timezone
from python_calamine import CalamineWorkbook

from consult.models import User
from mitigation.models import Stage
from mitigation.views import case_list
from tests.factories import (
    CaseFactory,
    ClientFactory,
    PropertyFactory,
    SpotFactory,
    UserFactory,
    assign,
)

pytestmark = pytest.mark.django_db
URL = "/cases/"


@pytest.fixture(autouse=True)
def office(client):
    user = UserFactory()
    client.force_login(user)
    return user


def references(response):
    return [case.reference for case in response.context["page"]]


def test_a_part_for_who_types_and_the_page_for_all_others(client):
    CaseFactory(reference="EB-1")
    part = client.get(URL, {"q": "eb-1"}, headers={"HX-Request": "true"})
    assert "<html" not in part.content.decode() and "EB-1" in part.content.decode()
    assert "HX-Request" in part["Vary"]
    whole = client.get(URL, {"q": "eb-1"})
    assert "<html" in whole.content.decode() and "HX-Request" in whole["Vary"]
    for name in ("HX-Boosted", "HX-History-Restore-Request"):
        answer = client.get(URL, headers={"HX-Request": "true", name: "true"})
        assert "<html" in answer.content.decode()


def test_search_and_filters_narrow_each_other(client):
    home = PropertyFactory(client=ClientFactory(name="Ida Moor"))
    SpotFactory(home=home, name="cradle")
    today = timezone.localdate()
    CaseFactory(property=home, reference="A", stage=Stage.WORKS, due_on=today)
    CaseFactory(property=home, reference="B", stage=Stage.PLAN, on_hold_reason="x", due_on=today)
    CaseFactory(reference="C", stage=Stage.WORKS)
    for query, found in {
        "q=cradle": "BA", "q=moor&stage=works": "A", "stage=works": "CA", "due=late": "A",
        "due=held": "B", "q=moor&due=held&stage=works": "", "stage=nonsense": "CBA",
    }.items():  # fmt: skip
        assert "".join(references(client.get(f"{URL}?{query}"))) == found, query


def test_the_pager_keeps_what_was_asked_for(client):
    CaseFactory.create_batch(51, stage=Stage.WORKS)
    page = client.get(URL, {"q": "eb", "stage": "works"}).content.decode()
    assert "?q=eb&amp;stage=works&amp;page=2" in page


def test_the_export_holds_the_list_and_no_formula(client):
    home = PropertyFactory(client=ClientFactory(name='=HYPERLINK("x")'), address="-1+1\n@home")
    CaseFactory(property=home, reference="EB-7", stage=Stage.WORKS)
    CaseFactory(reference="EB-8", stage=Stage.PLAN)
    answer = client.get(reverse("case_list_export"), {"stage": "works"})
    assert answer["Content-Disposition"].startswith("attachment")
    book = CalamineWorkbook.from_filelike(io.BytesIO(answer.content))
    rows = book.get_sheet_by_index(0).to_python()
    assert len(rows) == 2
    assert rows[1][:3] == ["EB-7", '\'=HYPERLINK("x")', "'-1+1, @home"]
    assert rows[1][4:6] == ["Electrician", "carry out the work"]
    assert rows[1][6] == timezone.localdate()


def test_an_assessor_exports_own_cases_alone(client):
    assessor = UserFactory(role=User.Role.ASSESSOR)
    mine, _other = CaseFactory(), CaseFactory()
    assign(assessor, mine.property)
    client.force_login(assessor)
    answer = client.get(reverse("case_list_export"))
    book = CalamineWorkbook.from_filelike(io.BytesIO(answer.content))
    assert [row[0] for row in book.get_sheet_by_index(0).to_python()[1:]] == [mine.reference]


@pytest.mark.parametrize(
    ("query", "n"), [("", 9), ("?q=mill", 10), ("?q=mill+river&stage=enquiry", 10)]
)
def test_it_costs_the_same_for_one_and_for_fifty(client, django_assert_num_queries, query, n):
    CaseFactory()
    client.get(URL + query)
    with django_assert_num_queries(n):
        client.get(URL + query)
    CaseFactory.create_batch(49)
    with django_assert_num_queries(n):
        assert len(references(client.get(URL + query))) == 50


def test_a_long_list_is_not_counted_to_its_end(client, monkeypatch, django_assert_num_queries):
    monkeypatch.setattr(case_list, "MOST_COUNTED", 3)
    monkeypatch.setattr(case_list, "PER_PAGE", 2)
    for n in range(3):
        CaseFactory(reference=f"A-{n}")
    assert "3 cases." in client.get(URL).content.decode()
    for n in range(3, 7):
        CaseFactory(reference=f"A-{n}")
    client.get(URL)
    shown = []
    for number in (1, 2, 3, 4):
        with django_assert_num_queries(9):
            answer = client.get(URL, {"page": number})
        text = answer.content.decode()
        assert "More than 3 cases" in text
        assert (f"?page={number + 1}" in text) == (number < 4)
        assert (f"?page={number - 1}" in text) == (number > 1)
        shown += references(answer)
    assert shown == [f"A-{n}" for n in (6, 5, 4, 3, 2, 1, 0)]
    for odd, n in {"99": 2, "0": 1, "-1": 1, "x": 1, "": 1, "1" * 30: 2}.items():  # no such page
        assert client.get(URL, {"page": odd}).context["page"].number == n, odd
