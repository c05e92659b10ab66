"""What is never changed is refused by the database itself, on both of them, whoever asks."""

import re
import threading
from collections.abc import Callable
from typing import Any

import pytest
from django.apps import apps
from django.core.management import call_command
from django.db import IntegrityError, connection, models, transaction
from django.utils import timezone
from simple_history.models import HistoricalChanges

from consult.intake.contents import PDF
from consult.models import AccessEvent, Client, ErasureWindow, Letter
from consult.services import triggers
from consult.services.clients import merge_clients
from consult.services.guards import before_migrate, guards, unguarded
from consult.services.stored_files import write_stored
from mitigation.models import CaseLetter, Note, Outcome
from mitigation.services.cases import add_note
from surveys.models import GroundCheck, GroundPoint, LetterVisit, Reading, Visit
from tests.factories import (
    ClientFactory,
    FirmFactory,
    PropertyFactory,
    UserFactory,
    VisitFactory,
    add_reading,
    compared_case,
    issue_outcome_letter,
    issue_survey_report,
    ready_letter,
)

pytestmark = pytest.mark.django_db

HISTORIES = [model for model in apps.get_models() if issubclass(model, HistoricalChanges)]
FROZEN = [
    "number", "kind", "case_reference", "client_id", "property_id", "firm_id", "content",
    "content_sha256", "check_code", "rules", "language", "paper", "template_version",
    "corrects_id", "issued_by_id", "issued_at", "erased_at", "erased_by_id",
]  # fmt: skip
OTHER = {
    "kind": "survey-report", "language": "de", "paper": "Letter", "client_id": None,
    "property_id": None, "content": {"number": "?"}, "rules": [],
    "issued_at": timezone.now(), "erased_at": timezone.now(),
}  # fmt: skip


def refused(statement: Callable[[], object], word: str) -> None:
    """The database refuses it, says so, and goes on."""
    with pytest.raises(IntegrityError, match=word), transaction.atomic():
        statement()


def let_through(statement: Callable[[], object]) -> None:
    with transaction.atomic():
        statement()
        transaction.set_rollback(True)


def in_sql(statement: str, *values: object) -> None:
    with connection.cursor() as cursor:
        cursor.execute(statement, values)


def other_value(name: str) -> object:
    if name in ("issued_by_id", "erased_by_id"):
        return UserFactory().pk
    if name == "firm_id":
        return FirmFactory().pk
    if name == "corrects_id":
        return ready_letter(compared_case()).pk
    return OTHER.get(name, "other")


# -- every guarded table has its triggers -----------------------------------------------------


def expected_names() -> set[str]:
    """By hand, not from the guards: what must be on each table."""
    verbs = ["update", "delete"] + ["truncate"] * (connection.vendor == "postgresql")
    tables = [model._meta.db_table for model in HISTORIES]
    tables += ["consult_accessevent", "consult_erasure", "consult_letter"]
    tables += ["surveys_visit", "surveys_reading", "surveys_groundcheck", "surveys_correction"]
    tables += ["surveys_circuitoff", "surveys_applianceoff"]
    tables += ["surveys_lettervisit", "mitigation_caseletter"]
    tables += ["mitigation_note", "mitigation_outcome"]
    tables += ["mitigation_plan", "mitigation_prediction", "mitigation_decision"]
    tables += ["mitigation_workreport", "mitigation_workresult", "mitigation_testvalue"]
    tables += ["mitigation_worksconfirmation"]
    tables += ["mitigation_appointment", "mitigation_proposedtime"]
    return {f"guard_{table}_{verb}" for table in tables for verb in verbs} | {
        "guard_consult_letter_file_update", "guard_mitigation_appointment_answer_update",
    }  # fmt: skip


def test_every_guarded_table_has_its_triggers() -> None:
    assert len(HISTORIES) >= 12
    assert triggers.installed(connection) == expected_names()


def test_they_are_on_the_table_that_they_are_named_after() -> None:
    query = "SELECT name, tbl_name FROM sqlite_master WHERE type = 'trigger'"
    if connection.vendor == "postgresql":
        query = "SELECT tgname, tgrelid::regclass::text FROM pg_trigger WHERE NOT tgisinternal"
    with connection.cursor() as cursor:
        cursor.execute(query)
        found = dict(cursor.fetchall())
    assert {name: found[name] for name in expected_names()} == {
        name: re.sub(r"^guard_(\w+?)(_file|_answer)?_[a-z]+$", r"\1", name)
        for name in expected_names()
    }


def test_a_model_that_gets_a_history_is_guarded_without_a_word() -> None:
    assert {guard.model for guard in guards()} >= set(HISTORIES)


# -- what is refused --------------------------------------------------------------------------


@pytest.mark.parametrize("model", HISTORIES, ids=lambda model: model.__name__)
def test_a_history_is_only_added_to(model: type[models.Model]) -> None:
    """A row that is not there is no proof, so one is written past the ORM's checks."""
    columns = [field.column for field in model._meta.concrete_fields if not field.primary_key]
    row: dict[str, object] = dict.fromkeys(columns)
    for field in model._meta.concrete_fields:
        if not field.primary_key and not field.null:
            row[field.column] = filler(field)
    names = ", ".join(f'"{name}"' for name in row)
    marks = ", ".join(["%s"] * len(row))
    table = model._meta.db_table
    in_sql(f'INSERT INTO "{table}" ({names}) VALUES ({marks})', *row.values())
    rows = model._default_manager.all()
    assert rows.count() == 1
    refused(lambda: rows.update(history_type="~"), "only ever added to")
    refused(lambda: in_sql(f'UPDATE "{table}" SET history_type = %s', "~"), "only ever added to")
    refused(lambda: rows.delete(), "only ever added to")
    refused(lambda: in_sql(f'DELETE FROM "{table}"'), "only ever added to")
    assert rows.values_list("history_type", flat=True).get() == "+"


def filler(field: Any) -> object:
    if field.name == "history_type":
        return "+"
    kind = field.get_internal_type()
    if "Integer" in kind or kind in ("FloatField", "ForeignKey", "AutoField", "BigAutoField"):
        return 1
    return {
        "BooleanField": False,
        "DateField": timezone.now().date(),
        "DateTimeField": timezone.now(),
        "JSONField": "{}",
    }.get(kind, "")


def test_the_log_is_only_added_to() -> None:
    AccessEvent.objects.create(at=timezone.now(), kind="logged-in", user=UserFactory())
    refused(lambda: AccessEvent.objects.update(what="nothing"), "only ever added to")
    refused(lambda: AccessEvent.objects.all().delete(), "only ever added to")
    refused(lambda: in_sql("DELETE FROM consult_accessevent"), "only ever added to")


@pytest.mark.parametrize("name", FROZEN)
def test_what_a_letter_says_is_frozen(name: str) -> None:
    letter = ready_letter(compared_case())
    value = other_value(name)
    assert getattr(letter, name) != value
    rows = Letter.objects.filter(pk=letter.pk)
    refused(lambda: rows.update(**{name: value}), "never changed")
    rows.update(**{name: getattr(letter, name)})  # the same again is no change
    with transaction.atomic(), unguarded():
        rows.update(**{name: value})


def test_the_frozen_fields_of_a_letter_are_all_but_those_of_its_life() -> None:
    life = {"state", "failure", "emailed_at", "emailed_by", "posted_at", "posted_by"}
    made_once = {"stored", "sha256", "rendered_at", "rendered_with"}
    every = {field.name for field in Letter._meta.concrete_fields} - {"id"}
    assert {name.removesuffix("_id") for name in FROZEN} == every - life - made_once


@pytest.mark.parametrize(
    "change", [{"stored": True}, {"sha256": "0" * 64}, {"rendered_with": {"a": "b"}}]
)
def test_the_file_of_a_letter_is_made_once(change: dict[str, Any]) -> None:
    now = timezone.now()
    if "stored" in change:
        change = {"stored": write_stored(key="other.pdf", chunks=[b""], kind=PDF, now=now)}
        change["stored"].save()
    waiting = issue_outcome_letter(case=compared_case(), by=None, now=now)
    let_through(lambda: Letter.objects.filter(pk=waiting.pk).update(**change))
    letter = ready_letter(compared_case())
    rows = Letter.objects.filter(pk=letter.pk)
    refused(lambda: rows.update(**change), "never another one")
    rows.update(state="failed", failure="the file was lost")
    refused(lambda: rows.update(**change), "never another one")


def test_a_letter_is_not_deleted_and_lives_on() -> None:
    letter = issue_outcome_letter(case=compared_case(), by=None, now=timezone.now())
    refused(lambda: in_sql("DELETE FROM consult_letter"), "never changed or deleted")
    rows = Letter.objects.filter(pk=letter.pk)
    rows.update(state="rendering")
    rows.update(state="failed", failure="no ink")
    rows.update(emailed_at=timezone.now(), posted_at=timezone.now(), posted_by=UserFactory())


def survey(*, sealed: bool) -> tuple[Visit, Reading, GroundCheck]:
    visit = VisitFactory(**({} if sealed else {"sealed_at": None}))
    first = compared_case().visits.first().readings.get()
    reading = add_reading(visit, first.spot, first.calibration, total=4.0)
    point = GroundPoint.objects.create(property=visit.property, name=f"pipe {visit.pk}")
    return visit, reading, GroundCheck.objects.create(visit=visit, point=point)


def changes_of(row: models.Model) -> list[Callable[[], object]]:
    rows = type(row)._default_manager.filter(pk=row.pk)
    table = row._meta.db_table
    return [
        lambda: rows.update(note="it was otherwise"),
        lambda: rows.delete(),
        lambda: in_sql(f'UPDATE "{table}" SET note = %s WHERE id = %s', "otherwise", row.pk),
        lambda: in_sql(f'DELETE FROM "{table}" WHERE id = %s', row.pk),
    ]


def test_a_sealed_visit_is_not_changed_and_an_open_one_is() -> None:
    sealed, still_open = survey(sealed=True), survey(sealed=False)
    for row in sealed:
        for change in changes_of(row):
            refused(change, "sealed visit is not changed")
    for row in still_open[1:]:
        for change in changes_of(row):
            let_through(change)
    for change in changes_of(still_open[0])[:3]:
        let_through(change)
    refused(lambda: Visit.objects.filter(pk=sealed[0].pk).update(sealed_at=None), "sealed visit")


def test_what_a_letter_is_about_is_not_changed() -> None:
    letter, other = ready_letter(compared_case()), compared_case()
    links = CaseLetter.objects.filter(letter=letter)
    visits = LetterVisit.objects.filter(letter=letter)
    refused(lambda: links.update(case=other), "is about is not changed")
    refused(lambda: links.delete(), "is about is not changed")
    refused(lambda: visits.update(visit=other.visits.first()), "reports is not changed")
    refused(lambda: visits.delete(), "reports is not changed")
    assert (links.count(), visits.count()) == (1, 2)


def test_a_correcting_row_is_let_in() -> None:
    visit, reading, check = survey(sealed=True)
    add_reading(visit, reading.spot, reading.calibration, total=3.0)
    GroundCheck.objects.create(visit=visit, point=check.point)
    assert visit.readings.count() == 2


def test_a_note_is_added_and_never_changed() -> None:
    writer = UserFactory()
    note = add_note(case=compared_case(), text="Ring twice.", by=writer, now=timezone.now())
    rows = Note.objects.filter(pk=note.pk)
    changes: list[dict[str, object]] = [
        {"text": "Ring once."}, {"written_at": timezone.now()}, {"case": compared_case()},
    ]  # fmt: skip
    for change in changes:
        refused(lambda change=change: rows.update(**change), "note is added")
    refused(lambda: rows.delete(), "note is added")
    refused(lambda: in_sql("UPDATE mitigation_note SET text = 'x'"), "note is added")
    refused(lambda: in_sql("DELETE FROM mitigation_note"), "note is added")
    writer.delete()  # who wrote it may be forgotten
    assert (rows.get().text, rows.get().written_by) == ("Ring twice.", None)


def test_a_frozen_comparison_keeps_what_its_letter_said() -> None:
    letter, other = ready_letter(compared_case()), compared_case()
    rows = Outcome.objects.filter(letter=letter)
    visits = list(other.visits.order_by("date"))
    changes: list[dict[str, object]] = [
        {"result": {}}, {"case": other}, {"baseline": visits[0]}, {"follow_up": visits[1]},
        {"letter": issue_survey_report(case=other, by=None, now=timezone.now())},
        {"created_at": timezone.now()},
    ]  # fmt: skip
    every = {field.name for field in Outcome._meta.concrete_fields} - {"id"}
    assert {name for change in changes for name in change} == every
    for change in changes:
        refused(lambda change=change: rows.update(**change), "frozen comparison")
    refused(lambda: rows.delete(), "frozen comparison")
    refused(lambda: in_sql("DELETE FROM mitigation_outcome"), "frozen comparison")
    with transaction.atomic(), unguarded():
        assert rows.delete()[0] == 1


def test_a_row_is_not_replaced_by_another_of_its_key() -> None:
    if connection.vendor != "sqlite":
        return  # ON CONFLICT DO UPDATE is an UPDATE there
    AccessEvent.objects.create(at=timezone.now(), kind="logged-in")
    columns = "id, at, kind, what"
    copied = f"SELECT {columns.replace('what', repr('other'))} FROM consult_accessevent"
    refused(
        lambda: in_sql(f"INSERT OR REPLACE INTO consult_accessevent ({columns}) {copied}"),
        "only ever added to",
    )


def test_a_table_is_not_emptied_at_once() -> None:
    if connection.vendor != "postgresql":
        return  # SQLite knows no TRUNCATE
    for table in ("consult_accessevent", "surveys_reading CASCADE", "consult_historicalclient"):
        refused(lambda table=table: in_sql(f"TRUNCATE {table}"), "is ")


# -- the way past -----------------------------------------------------------------------------


def test_the_window_lets_through_and_closes() -> None:
    person = UserFactory()
    event = AccessEvent.objects.create(at=timezone.now(), kind="logged-in", user=person)
    rows = AccessEvent.objects.filter(pk=event.pk)
    with transaction.atomic():
        with unguarded():
            with unguarded():
                rows.update(what="inside")
            rows.update(user=None)
        assert not ErasureWindow.objects.exists()
        refused(lambda: rows.update(what="after"), "only ever added to")
    event.refresh_from_db()
    assert (event.user, event.what) == (None, "inside")


def test_an_error_in_the_window_takes_back_what_was_done_in_it() -> None:
    ClientFactory(name="as it was")

    def half_done() -> None:
        with unguarded():
            Client.objects.update(name="half done")
            raise ZeroDivisionError

    with transaction.atomic():
        with pytest.raises(ZeroDivisionError):
            half_done()
        assert not ErasureWindow.objects.exists()
        with pytest.raises(IntegrityError), unguarded():
            in_sql("INSERT INTO consult_client (id) VALUES (NULL)")
    assert Client.objects.get().name == "as it was"


@pytest.mark.django_db(transaction=True)
def test_a_window_is_opened_in_a_transaction_alone() -> None:
    with pytest.raises(RuntimeError, match="inside a transaction"), unguarded():
        pass


@pytest.mark.django_db(transaction=True)
def test_an_open_window_cannot_be_committed() -> None:
    with pytest.raises(IntegrityError):
        ErasureWindow.objects.create()
    with pytest.raises(IntegrityError), transaction.atomic():
        ErasureWindow.objects.create()
    for values in ({"pk": 7, "never_id": 7}, {"pk": 0}):  # a row that refers to itself
        with pytest.raises(IntegrityError):
            ErasureWindow.objects.create(**values)
    assert not ErasureWindow.objects.exists()


@pytest.mark.django_db(transaction=True)
def test_a_window_is_for_its_own_connection_alone() -> None:
    AccessEvent.objects.create(at=timezone.now(), kind="logged-in")
    found: list[object] = []

    def elsewhere() -> None:
        try:
            if connection.vendor == "sqlite":  # one writer at a time: it may only look
                found.append(ErasureWindow.objects.exists())
            else:
                AccessEvent.objects.update(what="meanwhile")
        except IntegrityError as error:
            found.append("only ever added to" not in str(error))
        finally:
            connection.close()

    with transaction.atomic(), unguarded():
        thread = threading.Thread(target=elsewhere)
        thread.start()
        thread.join(30)
        assert found == [False]
        AccessEvent.objects.update(what="erased")
    assert AccessEvent.objects.get().what == "erased"


def test_merging_takes_the_letters_along() -> None:
    letter = ready_letter(compared_case())
    keep = PropertyFactory().client
    merge_clients(keep=keep, gone=letter.client, by=UserFactory())
    letter.refresh_from_db()
    assert letter.client == keep
    refused(lambda: Letter.objects.filter(pk=letter.pk).update(client=None), "never changed")


# -- migrations -------------------------------------------------------------------------------


def label(longest: int) -> "models.CharField[str, str]":
    field: models.CharField[str, str] = models.CharField(max_length=longest)
    field.set_attributes_from_name("label")
    return field


@pytest.mark.django_db(transaction=True)
def test_a_migration_may_make_a_table_anew_and_the_guards_come_back() -> None:
    """SQLite drops the old table with its triggers, and stumbles over those that look into it."""
    for before, after in ((80, 90), (90, 80)):
        before_migrate(using="default", plan=["a migration"])
        with connection.schema_editor() as editor:
            editor.alter_field(Visit, label(before), label(after))
        assert triggers.installed(connection) == set()
        call_command("migrate", verbosity=0)
        assert triggers.installed(connection) == expected_names()


def test_nothing_to_migrate_leaves_them_where_they_are() -> None:
    before_migrate(using="default", plan=[])
    assert triggers.installed(connection) == expected_names()
