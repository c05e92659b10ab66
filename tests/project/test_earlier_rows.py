"""Rows as earlier versions wrote them come through the migrations.

The way back and forward takes long, so all stories share it. Each is a generator: it makes what it
needs with the models of today, gets the models of its version to write as that version did, and
looks at its rows when all migrations are applied again.
"""

import hashlib
from collections.abc import Callable, Generator, Iterable, Mapping
from datetime import timedelta
from importlib import import_module
from pathlib import Path
from unittest.mock import patch
from uuid import uuid4

import pytest
from django.core.exceptions import ValidationError
from django.core.files.storage import default_storage
from django.db import IntegrityError, connection, transaction
from django.db.migrations.executor import MigrationExecutor
from django.db.migrations.state import StateApps
from django.test import Client as Browser
from django.urls import reverse
from django.utils import timezone

from consult.models import Contact, EntryKey, Letter
from consult.services import Run, open_letter
from consult.services.files import write_file
from consult.services.guards import install_guards, remove_guards
from consult.services.stored_files import open_stored
from mitigation.models import Attachment, Case, CaseLetter, CaseVisit, CaseWord, FormerReference
from mitigation.services.attachments import clean_picture
from mitigation.services.imports import import_case_folder
from mitigation.services.search import index_all
from mitigation.tasks import attachments
from surveys.models import (
    Circuit,
    Instrument,
    LetterVisit,
    Panel,
    Reading,
    Room,
    SourceFile,
    Spot,
    Visit,
)
from tests.consult.test_stored_files import PNG
from tests.factories import (
    BASELINE_DAY,
    CalibrationFactory,
    CaseFactory,
    UserFactory,
    VisitFactory,
    as_if_so_from_the_start,
    assign,
    compared_case,
    issue_outcome_letter,
    issue_survey_report,
    ready_letter,
)
from tests.files import content_of
from tests.mitigation.test_letter_links import visits_of
from tests.mitigation.test_pictures import (
    GPS_MARK,
    attach,
    clean,
    files_of,
    picture,
    with_place,
    written,
)
from tests.mitigation.test_references import opened
from tests.surveys.case_folders import as_zip
from tests.surveys.test_circuits import off

Story = Generator[None, StateApps, None]
Version = tuple[tuple[str, str], ...]  # app and last migration


def pictures_are_cleaned() -> Story:
    """What was attached before pictures were cleaned goes to a worker."""
    case = CaseFactory()
    jpeg = written(picture(), "JPEG", exif=with_place())
    text = b"plain words"
    old = yield
    for name, kind, data in (("a.jpg", "image/jpeg", jpeg), ("a.txt", "text/plain", text)):
        digest = hashlib.sha256(data).hexdigest()
        key = f"attachments/{case.pk}/{digest}"
        write_file(key=key, data=data, attempt=1)
        old.get_model("mitigation", "Attachment").objects.create(
            case_id=case.pk, name=name, kind=kind, size=len(data), sha256=digest, file=key,
            added_at=timezone.now(),
        )  # fmt: skip
    yield
    photo, words = Attachment.objects.get(name="a.jpg"), Attachment.objects.get(name="a.txt")
    assert (words.state, content_of(attachments.open_attachment(words))) == ("ready", text)
    assert attach(case, jpeg) == photo
    assert GPS_MARK not in content_of(attachments.open_attachment(clean(photo)))
    assert default_storage.exists(photo.given_key()) is False


def keys_of_forms_go_down_with_their_rows() -> Story:
    """A form that was sent before is still known after."""
    old = yield
    first = old.get_model("surveys", "EntryKey").objects.create(digest="a" * 64, row=7)
    yield
    entry_key = EntryKey.objects.get(digest="a" * 64)
    assert (entry_key.pk, entry_key.row, entry_key.made_at) == (first.pk, 7, first.made_at)
    assert EntryKey.objects.create(digest="b" * 64, row=8).pk > entry_key.pk
    with pytest.raises(IntegrityError), transaction.atomic():
        EntryKey.objects.create(digest="a" * 64, row=9)
    assert "surveys_entrykey" not in connection.introspection.table_names()


def letters_are_linked_by_what_they_print() -> Story:
    case, renamed, erased = compared_case(), compared_case(reference="OLD-1"), compared_case()
    issued = timezone.now()
    report = issue_survey_report(case=case, by=UserFactory(), now=issued)
    outcome = ready_letter(case)
    old_letter = issue_survey_report(case=renamed, by=None, now=issued)
    gone = issue_survey_report(case=erased, by=None, now=issued)
    late = VisitFactory(
        property=case.property, label="late", date=BASELINE_DAY + timedelta(1),
        sealed_at=issued + timedelta(days=1),
    )  # fmt: skip
    CaseVisit.objects.create(case=case, visit=late)
    renamed.reference = "NEW-1"
    renamed.save()
    as_if_so_from_the_start(Letter.objects.filter(pk=gone.pk), case_reference="", state="erased")
    yield
    assert not CaseLetter.objects.exists() and not LetterVisit.objects.exists()
    yield
    letters = [report, outcome, old_letter, gone]
    links = CaseLetter.objects.filter(letter__in=letters).values_list("letter", "case")
    assert dict(links) == {
        report.pk: case.pk, outcome.pk: case.pk, old_letter.pk: renamed.pk,
    }  # fmt: skip
    assert visits_of(report) == visits_of(old_letter) == ["baseline"]
    assert visits_of(outcome) == ["baseline", "follow-up"]
    assert visits_of(gone) == []


def rows_get_keys_and_times_without_a_history() -> Story:
    case = compared_case()
    sealed = case.visits.get(kind="baseline")
    texts = ("21:10", "nine", "", "9 pm")
    old = yield
    first = old.get_model("surveys", "Reading").objects.get(visit_id=sealed.pk)
    for place, text in enumerate(texts):
        first.pk, first.position, first.taken_at = None, 50 + place, text
        first.save(force_insert=True)
    histories = old.get_model("surveys", "HistoricalReading").objects.filter(visit_id=sealed.pk)
    n_entries = histories.count()
    yield
    rows = list(sealed.readings.filter(position__gte=50).order_by("position"))
    assert [row.taken_at_text for row in rows] == list(texts)
    zone = timezone.get_default_timezone()
    clocks = [row.taken_at and row.taken_at.astimezone(zone).strftime("%F %H:%M") for row in rows]
    day = sealed.date.isoformat()
    assert clocks == [f"{day} 21:10", None, None, f"{day} 21:00"]
    assert Reading.history.filter(visit_id=sealed.pk).count() == n_entries
    for model in (Visit, Room, Spot, Reading):
        uids = list(model.objects.values_list("uid", flat=True))
        assert len(set(uids)) == len(uids) > 0
        assert {uid.version for uid in uids} == {4}
    assert [row.recorded_at for row in rows] == [None] * 4  # nothing tells it
    read_first = Reading.objects.get(visit=sealed, position__lt=50)
    assert read_first.recorded_at == read_first.history.earliest().history_date


def references_get_one_that_fits_and_the_old_one_stays() -> Story:
    letter = ready_letter(compared_case(reference="K-1"))
    fitting = {"X/history": "X-history", "X-history": "X-history", "two\nlines": "two-lines",
               "..": None, "K 1": "K 1", "A?": "A", "a%": "a-2"}  # fmt: skip
    old = yield
    Old = old.get_model("mitigation", "Case")
    first = Old.objects.get(reference="K-1")
    facts = ("property_id", "guideline_id", "stage_since", "opened_at")
    given = {name: getattr(first, name) for name in facts}
    keys = {name: Old.objects.create(reference=name, **given).pk for name in fitting}
    Old.objects.filter(pk=first.pk).update(reference="K/1")
    Letter.objects.filter(pk=letter.pk).update(case_reference="K/1")
    yield
    fitting |= {"X/history": "X-history-2", "..": f"case {keys['..']}"}
    assert {name: Case.objects.get(pk=pk).reference for name, pk in keys.items()} == fitting
    cases = Case.objects.filter(pk__in=[first.pk, *keys.values()])
    changed = {"X/history", "two\nlines", "..", "A?", "a%", "K/1"}
    former = FormerReference.objects.filter(case__in=cases)
    assert set(former.values_list("reference", flat=True)) == changed
    for reference in changed:
        with pytest.raises(ValidationError):
            opened(reference)
    assert list(Case.objects.matching("x/history")) == [Case.objects.get(pk=keys["X/history"])]
    case = Case.objects.get(pk=first.pk)
    letter.refresh_from_db()
    assert (case.reference, letter.case_reference) == ("K-1", "K/1")
    assert "fitted no address" in case.history.latest().history_change_reason
    browser = Browser()
    browser.force_login(UserFactory())
    assert browser.get(reverse("case_list")).status_code == 200
    for row in cases:
        row.full_clean()
        assert browser.get(reverse("case_detail", args=[row.reference])).status_code == 200
    page = browser.get(reverse("case_detail", args=["K-1"]))
    assert letter.number in page.content.decode()  # its letters are still on its page


def texts_of_circuits_are_linked_and_stay() -> Story:
    case = compared_case()
    visit = case.visits.get(kind="baseline")
    old = yield
    panel = old.get_model("surveys", "Panel").objects.create(
        property_id=case.property_id, name="panel"
    )
    for name in ("F1", "F3", "*"):
        old.get_model("surveys", "Circuit").objects.create(panel=panel, name=name, phase="A")
    first = old.get_model("surveys", "Reading").objects.get(visit_id=visit.pk)
    for place, text in enumerate(("f1; F9", "*", "F1; F3")):
        first.pk, first.uid, first.position = None, uuid4(), 50 + place
        first.circuits_off = text
        first.save(force_insert=True)
    yield
    rows = list(visit.readings.filter(position__gte=50).order_by("position"))
    assert [off(row) for row in rows] == [(["F1"], []), ([], []), (["F1", "F3"], [])]
    assert [row.main_switch_off for row in rows] == [False, True, False]
    assert [row.circuits_off for row in rows] == ["f1; F9", "*", "F1; F3"]
    circuits = Circuit.objects.filter(panel__property=case.property_id)
    assert set(circuits.values_list("name", "folded", "phase")) == {
        ("F1", "f1", ""), ("F3", "f3", "")}  # fmt: skip
    assert Panel.objects.get(property=case.property_id).uid is not None


def files_get_their_rows_and_stay_where_they_are() -> Story:
    """A letter, a folder, attachments in each state."""
    now = timezone.now()
    case = import_case_folder(source=as_zip(), by=None, now=now).case
    letter = ready_letter(compared_case())
    attach(case, b"plain words", "plan.txt")
    named = rows_with_files()
    old = yield
    assert old.get_model("consult", "Letter").objects.get(pk=letter.pk).file == letter.file_key()
    rows = old.get_model("mitigation", "Attachment").objects
    assert rows.get(name="plan.txt").file == named["plan.txt"][0]
    for name, data, state in (("bed.png", PNG, "cleaning"), ("torn.png", PNG[:30], "refused")):
        digest = hashlib.sha256(data).hexdigest()
        key = f"attachments/{case.pk}/{digest}"
        if state != "refused":
            write_file(key=key, data=data, attempt=1)
        rows.create(
            case_id=case.pk, name=name, kind="image/png", size=len(data), file=key,
            given_sha256=digest, state=state, added_at=now,
        )  # fmt: skip
    paths = [Path(default_storage.path(row[0])) for row in named.values()]
    contents = {path: path.read_bytes() for path in paths}
    attached = files_of(case)
    yield
    assert {name: row for name, row in rows_with_files().items() if name in named} == named
    assert {path: path.read_bytes() for path in paths} == contents
    assert files_of(case) == attached
    assert Attachment.objects.get(name="torn.png").stored is None
    bed = Attachment.objects.get(name="bed.png")
    assert content_of(open_stored(bed.stored)) == PNG
    assert (bed.stored.key, bed.stored.size) == (bed.given_key(), len(PNG))
    with open_letter(Letter.objects.get(pk=letter.pk)) as file:
        assert file.read(5) == b"%PDF-"


def rows_with_files() -> dict[str, tuple[str, str, int, str]]:
    owners = [*Letter.objects.all(), *SourceFile.objects.all(), *Attachment.objects.all()]
    return {
        str(row): (row.stored.key, row.stored.kind, row.stored.size, row.stored.sha256)
        for row in owners
        if row.stored
    }


def visits_get_the_person_of_their_name() -> Story:
    jo = UserFactory(role="assessor", name="Jo Feld")
    for _twin in range(2):
        UserFactory(role="assessor", name="Ada Kern")
    names = ["JO  feld", "Ada Kern", "Lab Norden", ""]
    visits = [VisitFactory(assessor=name) for name in names]
    assign(jo, visits[0].property)
    yield
    yield
    persons = [Visit.objects.get(pk=visit.pk).measured_by for visit in visits]
    assert persons == [jo, None, None, None]
    assert visits[0].history.first().measured_by == jo


def descriptions_go_down_to_rows_and_history() -> Story:
    probe = Instrument.objects.create(name="probe of before")
    row = CalibrationFactory(instrument=probe)
    old = yield
    instruments = old.get_model("surveys", "Instrument").objects.filter(pk=probe.pk)
    instruments.update(description="one-axis probe")
    yield
    row.refresh_from_db()
    assert row.description == "one-axis probe"
    assert row.history.first().description == "one-axis probe"


def cases_are_indexed_by_all_of_their_words() -> Story:
    """As the live rule has them, batch after batch; what is wrong in the index goes."""
    letters = {}
    for number in range(3):
        case = compared_case()
        client = case.property.client
        client.name, client.email = f"Øyvind Möwe {number}", f"möwe.{number}@example.org"
        client.phone = f"+49 5121 99887{number}"
        client.save()
        Contact.objects.create(client=client, part="other", name=f"Tann{number}", phone="0170 44")
        letter = issue_outcome_letter(case=case, by=None, now=timezone.now())
        letters[letter.number] = case
    bare = CaseFactory()
    migration = import_module("mitigation.migrations.0018_words_of_all_cases")
    with patch.object(migration, "BATCH", 2):
        old = yield
        for number, case in enumerate(letters.values()):
            former = old.get_model("mitigation", "FormerReference")
            former.objects.create(case_id=case.pk, reference=f"Kiel{number}")
        CaseWord.objects.exclude(word__in=["eb", "2026"]).delete()
        CaseWord.objects.create(case=bare, word="wrong")
        assert not Case.objects.matching("möwe").exists()
        yield
    by_the_migration = words_by_case()
    index_all()
    assert words_by_case() == by_the_migration
    for number, (letter_number, case) in enumerate(letters.items()):
        for word in (letter_number, f"99887{number}", f"kiel{number}", f"Tann{number}"):
            assert list(Case.objects.matching(word)) == [case], word
    keys = [case.pk for case in letters.values()]
    assert Case.objects.filter(pk__in=keys).matching("field meter").count() == 3


def words_by_case() -> dict[int, set[str]]:
    words: dict[int, set[str]] = {}
    for case, word in CaseWord.objects.values_list("case", "word"):
        words.setdefault(case, set()).add(word)
    return words


# Each with the version that wrote its rows, in the order in which the migrations come.
NAMES_OF_FIELDS = (
    ("consult", "0017_names_of_fields"),
    ("surveys", "0014_names_of_fields"),
    ("mitigation", "0012_names_of_fields"),
)
STORIES: tuple[tuple[Version, Callable[[], Story]], ...] = (
    ((("mitigation", "0004_uploads_as_jobs"),), pictures_are_cleaned),
    ((("surveys", "0006_lists_by_index"),), keys_of_forms_go_down_with_their_rows),
    ((("surveys", "0009_visits_of_letters"),), rows_get_keys_and_times_without_a_history),
    ((("mitigation", "0009_letters_of_cases"),), letters_are_linked_by_what_they_print),
    ((("mitigation", "0010_letters_linked"),), references_get_one_that_fits_and_the_old_one_stays),
    ((("surveys", "0011_one_row_for_a_key"),), texts_of_circuits_are_linked_and_stay),
    (NAMES_OF_FIELDS, files_get_their_rows_and_stay_where_they_are),
    ((("surveys", "0016_who_measured"),), visits_get_the_person_of_their_name),
    (
        (("surveys", "0018_maker_serial_laboratory"),),
        descriptions_go_down_to_rows_and_history,
    ),
    ((("mitigation", "0017_enquiries"),), cases_are_indexed_by_all_of_their_words),
)


@pytest.mark.long
@pytest.mark.django_db(transaction=True)
def test_rows_of_earlier_versions_come_through(subtests: pytest.Subtests) -> None:
    stories = [(version, story.__name__, story()) for version, story in STORIES]
    for _version, _name, story in stories:
        next(story)
    pictures = waiting_and_refused_pictures()
    remove_guards()  # as `migrate` does before it alters a table
    try:
        MigrationExecutor(connection).migrate(NAMES_OF_FIELDS)
        take_pictures_back(pictures)
        MigrationExecutor(connection).migrate(earliest(version for version, _story in STORIES))
        for version, _name, story in stories:
            executor = MigrationExecutor(connection)
            assert not any(is_back for _step, is_back in executor.migration_plan(version))
            executor.migrate(version)
            story.send(executor.loader.project_state(version).apps)
    finally:
        executor = MigrationExecutor(connection)
        executor.migrate(executor.loader.graph.leaf_nodes())
        install_guards()
    for _version, name, story in stories:
        with subtests.test(name):
            assert next(story, "at its end") == "at its end"


def waiting_and_refused_pictures() -> dict[int, str]:
    """Pictures of today that are not clean, with the keys of what was uploaded."""
    case = CaseFactory()
    waiting, torn = attach(case, PNG, "waiting.png"), attach(case, PNG[:30], "torn picture.png")
    clean_picture({"attachment": torn.pk}, Run.__new__(Run))
    assert Attachment.objects.get(pk=torn.pk).state == "refused"
    return {row.pk: row.given_key() for row in (waiting, torn)}


def take_pictures_back(pictures: Mapping[int, str]) -> None:
    """The way back names their files again; versions before have no room for such pictures."""
    # What the way back returns may still have later fields of the apps that went back first.
    old = MigrationExecutor(connection).loader.project_state(NAMES_OF_FIELDS).apps
    rows = old.get_model("mitigation", "Attachment").objects.filter(pk__in=pictures)
    assert dict(rows.values_list("pk", "file")) == pictures
    rows.delete()


def earliest(versions: Iterable[Version]) -> list[tuple[str, str]]:
    """The first migration of each app."""
    firsts: dict[str, str] = {}
    for version in versions:
        for app, name in version:
            firsts[app] = min(name, firsts.get(app, name))
    return list(firsts.items())
