"""References of cases: one rule at every door, and what becomes of older ones that do not fit."""

import json
from urllib.parse import unquote

import pytest
from django.core.exceptions import ValidationError
from django.core.management import call_command
from django.urls import URLPattern, get_resolver, resolve, reverse
from django.utils import timezone

from mitigation.forms.cases import CaseForm
from mitigation.models import Case, FormerReference
from mitigation.services.cases import open_case
from mitigation.services.imports import import_case_folder
from mitigation.services.search import index_cases
from surveys.intake import CaseFolderRefused
from surveys.models import Guideline
from tests.factories import CaseFactory, PropertyFactory, UserFactory
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
