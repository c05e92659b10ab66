"""References of cases: one rule at every door, and what becomes of older ones that do not fit."""

import json
from urllib.parse import unquote

import pytest
from django.core.exceptions import ValidationError
from django.core.management import call_command
from django.db import connection
from django.db.migrations.executor import MigrationExecutor
from django.urls import URLPattern, get_resolver, resolve, reverse
from django.utils import timezone

from consult.models import Letter
from consult.services.guards import install_guards, remove_guards
from mitigation.forms.cases import CaseForm
from mitigation.models import Case, FormerReference
from mitigation.services.cases import open_case
from mitigation.services.imports import import_case_folder
from mitigation.services.search import index_cases
from surveys.intake import CaseFolderRefused
from surveys.models import Guideline
from tests.factories import CaseFactory, PropertyFactory, UserFactory, compared_case, ready_letter
from tests.surveys.case_folders import CASE_TOML, as_files, as_folder, as_zip

UNFIT = ["EB 1\nEB 2", "X/history", "a\\b", "why?", "no#1", "50%", ".", "..", "a\tb", "a\u2028b"]
FIT = ["EB-2026-0001", "Möwe 7 (Nord)", "all", "list", "a.b", "...", "x" * 40]


def opened(reference):
    return open_case(
        home=PropertyFactory(),
        guideline=Guideline.objects.get(code="SBM-2015"),
        target_band=2,
        placement_percent=5.0,
        by=None,
        now=timezone.now(),
        reference=reference,
    )


def files_under(reference):
    toml = CASE_TOML.replace('"EB-TEST-1"', json.dumps(reference))
    return as_files(case=toml)


@pytest.mark.django_db
@pytest.mark.parametrize("reference", [*UNFIT, " EB 1", "EB 1 ", "x" * 41, "a\0b"])
def test_the_model_refuses_what_fits_no_address(reference):
    with pytest.raises(ValidationError) as refused:
        opened(reference)
    assert set(refused.value.message_dict) == {"reference"}
    assert not Case.objects.exists()


@pytest.mark.django_db
@pytest.mark.parametrize("reference", UNFIT)
def test_form_folder_and_command_refuse_the_same(reference, tmp_path):
    assert CaseForm({"reference": reference}).errors["reference"]
    folder = as_folder(tmp_path / "case", files_under(reference))
    with pytest.raises(CaseFolderRefused) as refused:
        import_case_folder(source=folder, by=None, now=timezone.now())
    assert [fault.column for fault in refused.value.faults] == ["reference"]
    with pytest.raises(SystemExit):
        call_command("import_case", str(folder))
    assert not Case.objects.exists()


@pytest.mark.django_db
@pytest.mark.parametrize("reference", FIT)
def test_every_door_takes_what_fits(reference):
    assert "reference" not in CaseForm({"reference": reference}).errors
    assert opened(reference).reference == reference
    Case.objects.all().delete()
    upload = as_zip(files_under(reference))
    assert (
        import_case_folder(source=upload, by=None, now=timezone.now()).case.reference == reference
    )


def case_pages():
    """The names of all pages whose address holds a reference."""
    for entry in get_resolver().url_patterns:
        for pattern in getattr(entry, "url_patterns", [entry]):
            if isinstance(pattern, URLPattern) and "reference" in pattern.pattern.converters:
                yield pattern


@pytest.mark.parametrize("reference", [*FIT, "export", "history", "cases", "act", "show", "plan"])
def test_no_page_of_a_case_hides_behind_another(reference):
    pages = list(case_pages())
    assert len(pages) > 10
    for pattern in pages:
        others = dict.fromkeys(pattern.pattern.converters, "1") | {"reference": reference}
        match = resolve(unquote(reverse(pattern.name, kwargs=others)))
        assert (match.url_name, match.kwargs["reference"]) == (pattern.name, reference)


@pytest.mark.django_db
def test_acts_and_forms_that_there_are_none_of_are_not_found(client):
    case = CaseFactory()
    client.force_login(UserFactory())
    assert client.post(reverse("case_act", args=[case.reference, "sing"])).status_code == 404
    assert client.get(reverse("case_export", args=[case.reference, "pdf"])).status_code == 404


@pytest.mark.django_db
def test_a_former_reference_is_found_and_no_other_case_gets_it():
    case = CaseFactory(reference="K-7")
    FormerReference.objects.create(case=case, reference="Kiel 7")
    index_cases(cases=[case.pk])
    assert list(Case.objects.matching("kiel")) == [case]
    for again in ("Kiel 7", "KIEL  7"):
        with pytest.raises(ValidationError) as refused:
            opened(again)
        assert set(refused.value.message_dict) == {"reference"}
        upload = as_zip(files_under(again))
        with pytest.raises(CaseFolderRefused):
            import_case_folder(source=upload, by=None, now=timezone.now())
    assert opened("Kiel 8").reference == "Kiel 8"


@pytest.mark.django_db(transaction=True)
def test_older_references_get_one_that_fits_and_the_old_one_stays(client):
    letter = ready_letter(compared_case(reference="EB-1"))
    before = [("mitigation", "0010_letters_linked")]
    remove_guards()  # as `migrate` does before it alters a table
    executor = MigrationExecutor(connection)
    executor.migrate(before)
    old = {"X/history": "X-history", "X-history": "X-history", "two\nlines": "two-lines",
           "..": None, "EB 1": "EB 1", "A?": "A", "a%": "a-2"}  # fmt: skip
    keys = {}
    try:
        Old = executor.loader.project_state(before).apps.get_model("mitigation", "Case")
        first = Old.objects.get()
        for reference in old:
            row = Old.objects.create(
                reference=reference,
                property_id=first.property_id,
                guideline_id=first.guideline_id,
                stage_since=first.stage_since,
                opened_at=first.opened_at,
            )
            keys[reference] = row.pk
        Old.objects.filter(pk=first.pk).update(reference="EB/1")
        Letter.objects.filter(pk=letter.pk).update(case_reference="EB/1")
    finally:
        executor = MigrationExecutor(connection)
        executor.migrate(executor.loader.graph.leaf_nodes())
        install_guards()
    old |= {"X/history": "X-history-2", "..": f"case {keys['..']}"}
    assert {name: Case.objects.get(pk=pk).reference for name, pk in keys.items()} == old
    changed = {"X/history", "two\nlines", "..", "A?", "a%", "EB/1"}
    assert set(FormerReference.objects.values_list("reference", flat=True)) == changed
    for reference in changed:
        with pytest.raises(ValidationError):
            opened(reference)
    assert list(Case.objects.matching("x/history")) == [Case.objects.get(pk=keys["X/history"])]
    case = Case.objects.get(pk=first.pk)
    letter.refresh_from_db()
    assert (case.reference, letter.case_reference) == ("EB-1", "EB/1")
    assert "fitted no address" in case.history.latest().history_change_reason
    client.force_login(UserFactory())
    assert client.get(reverse("case_list")).status_code == 200
    for row in Case.objects.all():
        row.full_clean()
        assert client.get(reverse("case_detail", args=[row.reference])).status_code == 200
    page = client.get(reverse("case_detail", args=["EB-1"]))
    assert letter.number in page.content.decode()  # its letters are still on its page
