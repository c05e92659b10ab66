"""One rule for what people type: one line is one line, and no text holds a control character."""

from importlib import import_module
from pkgutil import iter_modules

import pytest
from django import forms
from django.apps import apps
from django.core.exceptions import ValidationError
from django.db import models
from django.urls import reverse
from django.utils import timezone

from consult.forms.texts import TextForm
from consult.models import AccessEvent, Firm, Practice
from consult.models.texts import PlainTexts, as_one_line, one_line, several_lines
from consult.services.mail import queue_mail, send_mail
from consult.services.people import record_event
from mitigation.models import Note
from tests.cast import make_cast
from tests.entries import NAMES, entry
from tests.factories import ClientFactory, FirmFactory, UserFactory, compared_case
from tests.project.files import APPS

pytestmark = pytest.mark.django_db
# What is typed into a page of its own; the others stand on a page with several forms.
TYPED = [
    "client_add", "contact_add", "property_add", "case_open with a reference", "firm_add",
    "person_invite", "letter_correct", "instrument_add", "calibration_add", "guideline_add",
    "reading_correct", "reading_set_aside",
]  # fmt: skip


def own_forms() -> set[type[forms.BaseForm]]:
    """Every form class of the three apps."""
    classes = set()
    for app in APPS:
        package = import_module(f"{app}.forms")
        for module in iter_modules(package.__path__, f"{app}.forms."):
            for thing in vars(import_module(module.name)).values():
                if isinstance(thing, type) and issubclass(thing, forms.BaseForm):
                    classes.add(thing)
    return {form for form in classes if form.__module__.split(".")[0] in APPS}


def test_every_form_keeps_to_the_rule() -> None:
    ours = own_forms()
    assert len(ours) > 25
    of_the_library = {"CodeForm", "CodeAgainForm", "NewAppForm", "ResetForm"}
    without = {form.__name__ for form in ours if not issubclass(form, TextForm)}
    assert without == of_the_library


@pytest.mark.parametrize("name", TYPED)
def test_no_form_takes_a_control_character_or_a_line_break_in_one_line(name, client) -> None:
    cast = make_cast()
    made = entry(name, cast)
    cast.log_in(client, made.by)
    shown = client.post(made.url, made.again() | {"key": "no key"})
    texts = {n: f for n, f in shown.context["form"].fields.items() if is_text(f)}
    rows = made.model.objects.count()
    assert texts
    for field_name, field in texts.items():
        for bad in ("a\0b", "a\x07b", *(() if is_long(field) else ("a\nb", "a\u2028b"))):
            answer = client.post(made.url, made.again() | {field_name: bad})
            assert answer.status_code == 422, (field_name, bad)
            assert field_name in answer.context["form"].errors, (field_name, bad)
    assert made.model.objects.count() == rows


@pytest.mark.parametrize("name", sorted(set(NAMES) - set(TYPED)))
def test_a_zero_byte_anywhere_in_another_form_breaks_no_page(name, client) -> None:
    cast = make_cast()
    made = entry(name, cast)
    cast.log_in(client, made.by)
    for field_name, value in made.again().items():
        if isinstance(value, str):
            answer = client.post(made.url, made.again() | {field_name: f"{value}\0"})
            assert answer.status_code in (302, 404, 422)  # the test's browser raises what is 500


def is_text(field: forms.Field) -> bool:
    return isinstance(field, forms.CharField) and not isinstance(field, forms.UUIDField)


def is_long(field: forms.Field) -> bool:
    return isinstance(field.widget, forms.Textarea)


@pytest.mark.parametrize("text", ["a\0b", "a\x1bb", "a\ud800b", "\x7f"])
def test_control_characters_are_in_no_text(text) -> None:
    for rule in (one_line, several_lines):
        with pytest.raises(ValidationError):
            rule(text)


@pytest.mark.parametrize("text", ["a\nb", "a\rb", "a\r\nb", "a\u2028b", "a\u2029b"])
def test_a_line_break_is_in_no_line(text) -> None:
    with pytest.raises(ValidationError):
        one_line(text)
    several_lines(text)


def test_what_is_one_line_passes() -> None:
    for text in ("", "Möwe & Söhne", "a\tb", "1 µT", "\U0001f3e0"):
        one_line(text)
        assert as_one_line(text) == text.replace("\t", " ")


def test_every_row_of_what_people_say_keeps_to_the_rule() -> None:
    """The others hold what the code writes, and letters and plans, which say what rows say."""
    own = {model for app in APPS for model in apps.get_app_config(app).get_models()}
    worded = {
        model
        for model in own
        if not model.__name__.startswith("Historical")
        and any(
            isinstance(field, models.CharField | models.TextField) and not field.choices
            for field in model._meta.concrete_fields
        )
    }
    assert {model.__name__ for model in worded if not issubclass(model, PlainTexts)} == {
        "CaseEvidence", "CaseWord", "DataPackage", "EntryKey", "Heartbeat", "Job", "KeptEffect",
        "Letter", "LetterDraft", "Plan", "Prediction", "StoredFile", "TrialFit",
    }  # fmt: skip


def test_rows_keep_to_it_too() -> None:
    for row in (ClientFactory.build(name="A\nB"), FirmFactory.build(licence="A\0B")):
        with pytest.raises(ValidationError) as refused:
            row.full_clean()
        assert {"name", "licence"} & set(refused.value.message_dict)
    ClientFactory.build(address="Mill Lane 3\n12345 Riverside").full_clean()


def test_a_mail_has_one_line_in_each_header(mailoutbox) -> None:
    Practice.objects.update_or_create(pk=1, defaults={"name": "Field\r\nBcc: all@example.org"})
    mail = queue_mail(key="k", to="a@example.org", subject="Your letter\nX-Odd: 1", body="b\nc")

    class Current:
        def is_current(self) -> bool:
            return True

    send_mail({"mail": mail.pk}, Current())
    (sent,) = mailoutbox
    assert sent.subject == "Your letter X-Odd: 1"
    assert "\n" not in sent.from_email and "\r" not in sent.from_email
    assert not {"Bcc", "X-Odd"} & set(sent.message())


def test_a_note_with_a_zero_byte_is_refused_in_words(client) -> None:
    case = compared_case()
    client.force_login(UserFactory())
    address = reverse("note_add", args=[case.reference])
    page = client.post(address, {"text": "be\0fore"}, follow=True)
    assert "Text without control characters" in page.content.decode()
    assert not Note.objects.exists()


def test_the_log_takes_an_address_with_a_line_break() -> None:
    event = record_event(
        kind=AccessEvent.Kind.PAGE_REFUSED, now=timezone.now(), what="GET /data/a\nb\0/"
    )
    assert event.what == "GET /data/a b /"


def test_older_names_become_one_line() -> None:
    firm = Firm.objects.create(name="Quay\nWiring", licence="A\x07 7")
    import_module("consult.migrations.0014_one_line_texts").make_one_line(apps, None)
    firm.refresh_from_db()
    assert (firm.name, firm.licence) == ("Quay Wiring", "A 7")
