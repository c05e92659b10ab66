"""After an erasure nothing of the person is left, in no column and in no file."""

import uuid
from datetime import UTC, datetime, timedelta
from io import BytesIO

import pytest
from django.core.exceptions import ValidationError
from django.core.files.base import ContentFile
from django.core.files.storage import default_storage
from django.db import DatabaseError, transaction
from django.utils import timezone
from PIL import Image

from consult.models import Client, Erasure, Job, Letter, OutboundMail, Property, StoredFile, User
from consult.services.changes import save_row
from consult.services.privacy import erasures, ledger
from consult.services.privacy.erasures import erase_person, plan_erasure, repeat_erasure
from consult.tasks import run_job
from mitigation.models import Attachment, Case, Stage
from mitigation.services.attachments import CLEAN_PICTURE, attach_file
from surveys.models import Reading, SourceFile, Visit
from tests.factories import PropertyFactory, UserFactory, compared_case, ready_letter
from tests.privacy.everywhere import all_files, all_text, places_of
from tests.privacy.planted import OWN_WORDS, Planted, closed_case, plant

pytestmark = pytest.mark.django_db
NOW = timezone.now()


def run_file_job(erasure: Erasure) -> None:
    run_job(Job.objects.get(key=f"erase-files:{erasure.uid}").pk)
    erasure.refresh_from_db()


def erase(planted: Planted, **more) -> Erasure:
    erasure = erase_person(person=planted.client, by=planted.manager, now=NOW, **more)
    run_file_job(erasure)
    return erasure


def manager() -> User:
    return UserFactory(role=User.Role.OFFICE, is_manager=True)


def test_no_marker_is_left_anywhere(media_folder) -> None:
    planted = plant()
    words = planted.markers | OWN_WORDS
    assert set(places_of(words, media_folder)) == set(words), "all planted"
    erase(planted)
    assert places_of(words, media_folder) == {}


def test_a_look_at_what_would_go_changes_nothing(media_folder) -> None:
    planted = plant()
    before = all_text() | all_files(media_folder)
    plan = plan_erasure(person=planted.client, now=NOW)
    assert plan.lines and plan.files and not plan.obstacles
    assert all_text() | all_files(media_folder) == before


def test_it_does_what_the_look_said() -> None:
    planted = plant()
    plan = plan_erasure(person=planted.client, now=NOW)
    erasure = erase(planted)
    assert erasure.counted == {line.table.model: [line.rows, line.past] for line in plan.lines}
    assert erasure.n_files == len(plan.files) > 3


def test_of_a_letter_number_kind_hash_and_date_stay() -> None:
    planted = plant()
    before = Letter.objects.get(pk=planted.letter.pk)
    erase(planted)
    after = Letter.objects.get(pk=before.pk)
    assert (after.number, after.kind, after.issued_at) == (
        before.number, before.kind, before.issued_at,
    )  # fmt: skip
    assert after.sha256 == before.sha256 != ""
    assert (after.state, after.erased_at, after.erased_by) == ("erased", NOW, planted.manager)
    assert after.content == {} and after.case_reference == "" and after.client is None
    assert after.stored is None


def test_what_was_measured_stays_and_says_nothing_of_anybody() -> None:
    planted = plant()
    readings = Reading.objects.filter(visit__property=planted.case.property).order_by("pk")
    before = list(readings.values_list("pk", "total", "unit", "measurand", "spot", "instrument"))
    erase(planted)
    after = list(readings.values_list("pk", "total", "unit", "measurand", "spot", "instrument"))
    assert after == before and len(before) == 2
    assert set(readings.values_list("set_aside", flat=True)) == {"[erased]"}, "it stays set aside"
    home = Property.objects.get(pk=planted.case.property_id)
    assert (home.address, home.country) == ("[erased]", "DE")


def test_nobody_else_loses_a_word(media_folder) -> None:
    other = compared_case()
    client = other.property.client
    client.name = "Bystander Quell"
    client.save()
    ready_letter(other)
    planted = plant()
    words = {"name": "bystander quell", "reference": other.reference}
    before = places_of(words, media_folder)
    rows = {model: model.objects.filter(**{way: client}).count() for model, way in OF_CLIENT}
    assert before["name"]
    erase(planted)
    assert places_of(words, media_folder) == before
    for model, way in OF_CLIENT:
        assert model.objects.filter(**{way: client}).count() == rows[model] > 0


OF_CLIENT = ((Letter, "client"), (Visit, "property__client"), (Case, "property__client"))


def test_a_mail_to_an_address_of_long_ago_goes_too(media_folder) -> None:
    case = closed_case()
    client = case.property.client
    for address in ("first@example.org", "second@example.org"):
        client.email = address
        client.save()
    OutboundMail.objects.create(
        key="old", client=client, to="First@example.org", subject="s", body="b", message_id="<m@x>"
    )
    run_file_job(erase_person(person=client, by=manager(), now=NOW))
    assert not OutboundMail.objects.filter(key="old").exists()
    assert places_of({"address": "first@example.org"}, media_folder) == {}


# -- Files after the commit -------------------------------------------------------------------


def test_files_that_could_not_go_go_at_the_next_try(media_folder, monkeypatch, settings) -> None:
    settings.JOB_BACKOFF_S = 0
    planted = plant()
    deleted: list[str] = []

    def dies_at_the_second(*, key: str) -> None:
        if deleted:
            raise OSError("the disk is away")
        deleted.append(key)

    monkeypatch.setattr(erasures, "drop_file", dies_at_the_second)
    erasure = erase(planted)
    assert erasure.files_gone_at is None and len(erasure.files_left) == erasure.n_files
    assert all_files(media_folder)
    monkeypatch.undo()
    run_file_job(erasure)
    assert erasure.files_gone_at is not None and erasure.files_left == []
    assert places_of(planted.markers, media_folder) == {}


def test_a_picture_as_it_was_uploaded_goes_too(media_folder) -> None:
    planted = plant()
    (row,) = planted.case.attachments.all()
    default_storage.save(row.given_key(), ContentFile(b"with the place where it was taken"))
    Attachment.objects.filter(pk=row.pk).update(state="cleaning")
    with pytest.raises(ValidationError, match="being cleaned"):
        erase(planted, reason="now")
    Attachment.objects.filter(pk=row.pk).update(state="ready")
    erase(planted)
    assert places_of({"place": "where it was taken"}, media_folder) == {}


def test_a_job_that_was_given_up_is_tried_every_day(media_folder) -> None:
    planted = plant()
    erasure = erase_person(person=planted.client, by=planted.manager, now=NOW)
    Job.objects.filter(key=f"erase-files:{erasure.uid}").update(state="dead", attempts=5)
    erasures.resume_files(now=NOW)
    run_file_job(erasure)
    assert erasure.files_gone_at is not None


def test_an_error_on_the_way_takes_all_of_it_back(media_folder, monkeypatch) -> None:
    planted = plant()
    before = all_text() | all_files(media_folder)

    def broken(*args, **kwargs) -> None:
        raise RuntimeError("halfway")

    monkeypatch.setattr(erasures, "enqueue", broken)
    with pytest.raises(RuntimeError, match="halfway"), transaction.atomic():
        erase_person(person=planted.client, by=planted.manager, now=NOW)
    assert all_text() | all_files(media_folder) == before


# -- When it is refused -----------------------------------------------------------------------


@pytest.mark.parametrize("reason", ["", "the court wants it"])
def test_an_open_case_stands_in_the_way(reason) -> None:
    case = closed_case()
    Case.objects.filter(pk=case.pk).update(stage=Stage.PROOF)
    with pytest.raises(ValidationError, match="is open"):
        erase_person(person=case.property.client, by=manager(), now=NOW, reason=reason)
    Case.objects.filter(pk=case.pk).update(stage=Stage.CLOSED)
    erase_person(person=case.property.client, by=manager(), now=NOW, reason=reason)


@pytest.mark.parametrize("state", ["queued", "rendering"])
def test_a_letter_that_is_being_made_stands_in_the_way(state) -> None:
    case = closed_case()
    letter = ready_letter(case)
    Letter.objects.filter(pk=letter.pk).update(state=state)
    with pytest.raises(ValidationError, match="being made"):
        erase_person(person=case.property.client, by=manager(), now=NOW, reason="now")
    Letter.objects.filter(pk=letter.pk).update(state="failed")
    erase_person(person=case.property.client, by=manager(), now=NOW)


def test_before_its_time_it_needs_a_reason_that_names_nobody() -> None:
    case = closed_case()
    client = case.property.client
    Case.objects.filter(pk=case.pk).update(stage_since=NOW - timedelta(days=365 * 9))
    with pytest.raises(ValidationError, match="to be kept until"):
        erase_person(person=client, by=manager(), now=NOW)
    with pytest.raises(ValidationError, match="must not name"):
        erase_person(person=client, by=manager(), now=NOW, reason=f"{client.name} asked")
    erasure = erase_person(person=client, by=manager(), now=NOW, reason="asked, nothing owed")
    assert erasure.reason == "asked, nothing owed"


def test_its_time_is_over_on_the_day_that_is_told() -> None:
    """Ten years to the day, by the practice's clock: "kept until 3 May" is free on 3 May."""
    case = closed_case()
    ended = datetime(2026, 5, 3, 12, tzinfo=UTC)
    Case.objects.filter(pk=case.pk).update(stage_since=ended)
    the_day = ended.replace(year=2036)
    before = plan_erasure(person=case.property.client, now=the_day - timedelta(days=1))
    assert [str(obstacle.words) for obstacle in before.obstacles] == [
        f"Case {case.reference} is to be kept until May 3, 2036."
    ]
    assert not plan_erasure(person=case.property.client, now=the_day).obstacles


def test_the_second_of_two_is_told() -> None:
    case = closed_case()
    client = Client.objects.get(pk=case.property.client_id)
    erase_person(person=Client.objects.get(pk=client.pk), by=manager(), now=NOW)
    with pytest.raises(ValidationError, match="they were erased"):
        erase_person(person=client, by=manager(), now=NOW)
    assert Erasure.objects.count() == 1


@pytest.mark.parametrize("change", [{"reason": "another"}, {"clients": []}, None])
def test_the_database_keeps_the_proof_as_it_is(change) -> None:
    erase_person(person=closed_case().property.client, by=manager(), now=NOW)
    rows = Erasure.objects.all()
    with pytest.raises(DatabaseError, match="proof of an erasure"), transaction.atomic():
        rows.delete() if change is None else rows.update(**change)


def test_nobody_erases_themselves() -> None:
    who = manager()
    with pytest.raises(ValidationError, match="yourself"):
        erase_person(person=who, by=who, now=NOW)


# -- Somebody who logs in ---------------------------------------------------------------------


def test_an_assessor_goes_but_for_what_the_letters_of_clients_say(media_folder) -> None:
    case = compared_case()
    who = UserFactory(role=User.Role.ASSESSOR, name="Quirin Zaun", email="quirin@zaun.example")
    who.name = "Quirin Zaun-Alt"
    who.save()
    Visit.objects.filter(pk=case.visits.first().pk, sealed_at=None).update(assessor=who.name)
    home = Property.objects.get(pk=case.property_id)
    save_row(row=home, by=who)
    words = {"name": "quirin", "e-mail": "zaun.example"}
    assert set(places_of(words, media_folder)) == {"name", "e-mail"}
    run_file_job(erase_person(person=who, by=manager(), now=NOW))
    assert places_of(words, media_folder) == {}
    who.refresh_from_db()
    assert not who.is_active and not who.has_usable_password()
    assert home.history.first().history_user == who, "that it was done stays, by number"


def test_a_clients_log_in_goes_with_the_client_alone() -> None:
    planted = plant()
    with pytest.raises(ValidationError, match="Erase the client"):
        erase_person(person=planted.login, by=planted.manager, now=NOW, reason="x")
    erase(planted)
    planted.login.refresh_from_db()
    assert planted.login.name == f"[erased {planted.login.pk}]" and not planted.login.is_active


def test_a_file_that_came_in_again_meanwhile_stays() -> None:
    planted = plant()
    source = planted.case.source
    assert source is not None
    key = source.stored.key
    erasure = erase_person(person=planted.client, by=planted.manager, now=NOW)
    again = SourceFile.objects.create(
        property=PropertyFactory(), name="again.zip", sha256=source.sha256, received_at=NOW,
        stored=StoredFile.objects.create(
            file=key, kind="application/zip", size=6, sha256=source.sha256, stored_at=NOW
        ),
    )  # fmt: skip
    run_file_job(erasure)
    assert erasure.files_gone_at is not None
    assert default_storage.exists(again.stored.key)
    assert not default_storage.exists(planted.letter.file_key())


# -- Again, after a restore -------------------------------------------------------------------


class Restored(Exception):
    """Takes the database back to where it was; the ledger is a file and stays."""


@transaction.atomic
def erase_and_restore(planted: Planted) -> None:
    erase(planted)
    raise Restored


def test_an_older_backup_is_erased_again(media_folder) -> None:
    planted = plant()
    with pytest.raises(Restored):
        erase_and_restore(planted)
    assert set(places_of(planted.markers, media_folder)) - {"file"}, "the names are back"
    (told,) = ledger.entries()
    erasure = repeat_erasure(entry=told | {"by": None, "uid": str(uuid.uuid4())}, now=NOW)
    assert erasure.by is None, "who did it may not be there any more"
    run_file_job(erasure)
    assert places_of(planted.markers, media_folder) == {}
    assert erasure.repeated_at == NOW
    assert [repeat_erasure(entry=one, now=NOW) for one in ledger.entries()] == [None, None]


def test_a_number_that_is_somebody_elses_now_is_left_alone() -> None:
    planted = plant()
    erase(planted)
    (told,) = ledger.entries()
    Client.objects.filter(pk=planted.client.pk).update(
        name="Somebody new", created_at=NOW + timedelta(days=1)
    )
    User.objects.filter(pk=planted.login.pk).update(joined_at=NOW + timedelta(days=1), name="New")
    assert repeat_erasure(entry=told, now=NOW) is None
    assert Client.objects.get(pk=planted.client.pk).name == "Somebody new"


def test_the_number_of_a_merged_record_that_is_somebody_elses_now_is_left_alone() -> None:
    planted = plant()
    merged = Client.history.get(history_type="-")
    erase(planted)
    (told,) = ledger.entries()
    assert [merged.id, merged.created_at.isoformat()] in told["clients"]
    Client.objects.create(pk=merged.id, name="Somebody new")
    assert repeat_erasure(entry=told, now=NOW) is None
    assert Client.objects.get(pk=merged.id).name == "Somebody new"


def test_an_erasure_is_written_down_after_a_line_that_a_full_disk_broke_off(settings) -> None:
    settings.ERASURE_LEDGER.parent.mkdir(parents=True, exist_ok=True)
    settings.ERASURE_LEDGER.write_text('{"uid": "half a li')
    erase(plant())
    (told,) = ledger.entries()
    assert told["uid"] == str(Erasure.objects.get().uid)


def test_the_ledger_and_the_proof_name_nobody(settings) -> None:
    planted = plant()
    name = planted.client.name
    erase(planted)
    text = settings.ERASURE_LEDGER.read_text()
    assert name not in text and str(planted.client.pk) in text
    assert f"client {planted.client.pk}" in Erasure.objects.get().numbers()


def test_the_job_of_a_photograph_goes_with_it() -> None:
    planted, others = plant(), compared_case()
    theirs, kept = (
        attach_file(case=case, name="bed.png", content=ContentFile(picture()), by=None, now=NOW)
        for case in (planted.case, others)
    )
    keys = [f"{CLEAN_PICTURE}:{photograph.pk}" for photograph in (theirs, kept)]
    for key in keys:
        assert run_job(Job.objects.get(key=key).pk)
    erase(planted)
    assert list(Job.objects.filter(key__in=keys).values_list("key", flat=True)) == keys[1:]


def picture() -> bytes:
    file = BytesIO()
    Image.new("RGB", (2, 2)).save(file, "PNG")
    return file.getvalue()
