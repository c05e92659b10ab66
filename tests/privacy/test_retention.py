"""What goes by itself when its time is over, and what waits for somebody's word."""

from datetime import datetime, timedelta
from types import SimpleNamespace

import pytest
from django.contrib.sessions.backends.db import SessionStore
from django.contrib.sessions.models import Session
from django.core.exceptions import ValidationError
from django.core.management import call_command
from django.utils import timezone

from consult import tasks
from consult.models import AccessEvent, Client, DataPackage, Job, OutboundMail, Retention, User
from consult.services.people import record_event
from consult.services.privacy import clearing
from mitigation.models import Case, PendingUpload, Stage
from mitigation.services.uploads import keep_upload
from tests.factories import CaseFactory, UserFactory
from tests.privacy.everywhere import all_files, all_text
from tests.surveys.case_folders import as_zip

pytestmark = pytest.mark.django_db
NOW = timezone.now()
DAY = timedelta(days=1)


def manager() -> User:
    return UserFactory(role=User.Role.OFFICE, is_manager=True)


def one_of_each(age: timedelta) -> None:
    """A row of every kind whose clock began `age` ago."""
    then = NOW - age
    session = SessionStore()
    session["x"] = 1
    session.save()
    Session.objects.filter(pk=session.session_key).update(expire_date=then)
    OutboundMail.objects.create(
        key=f"m{age}", to="a@example.org", subject="s", body="b", message_id=f"{age}", sent_at=then
    )
    Job.objects.create(kind="k", key=f"j{age}", state="done", run_after=then, finished_at=then)
    record_event(kind=AccessEvent.Kind.LOGIN_REFUSED, now=then)
    upload = keep_upload(upload=as_zip(), by=manager(), now=NOW)
    PendingUpload.objects.filter(pk=upload.pk).update(expires_at=then, state="ready")
    DataPackage.objects.create(
        token=f"t{age}"[:43], user=manager(), asked_at=then, file="packages/x.zip",
        expires_at=then,
    )  # fmt: skip


# The last moment of each kind's time, by the defaults.
LAST = {
    "sessions": timedelta(0),
    "mails": 90 * DAY,
    "jobs": 90 * DAY,
    "access-log": 365 * DAY,
    "uploads": timedelta(0),
    "packages": timedelta(0),
}


@pytest.mark.parametrize("kind", sorted(LAST))
def test_each_kind_goes_at_its_time_and_not_before(kind) -> None:
    one_of_each(LAST[kind] - timedelta(minutes=1))
    assert clearing.clear_old(now=NOW)[kind] == 0
    one_of_each(LAST[kind])
    assert {one.clearing.kind: one.gone for one in clearing.what_goes(now=NOW)}[kind] == 1
    assert clearing.clear_old(now=NOW)[kind] == 1


def test_of_a_mail_only_the_wording_goes() -> None:
    one_of_each(91 * DAY)
    clearing.clear_old(now=NOW)
    mail = OutboundMail.objects.get()
    assert (mail.body, mail.to, mail.subject) == ("", "a@example.org", "s")
    assert clearing.clear_old(now=NOW)["mails"] == 0, "once"


def test_an_upload_goes_with_its_file(media_folder) -> None:
    one_of_each(timedelta(0))
    (upload,) = PendingUpload.objects.all()
    assert (media_folder / str(upload.file)).exists()
    clearing.clear_old(now=NOW)
    assert not (media_folder / str(upload.file)).exists()


def test_a_job_that_waits_or_failed_stays() -> None:
    for state in ("waiting", "dead"):
        Job.objects.create(
            kind="k", key=state, state=state, run_after=NOW, finished_at=NOW - 1000 * DAY
        )
    clearing.clear_old(now=NOW)
    assert Job.objects.count() == 2


def test_a_dry_run_changes_nothing_and_says_when_the_next_goes(media_folder, capsys) -> None:
    one_of_each(100 * DAY)
    one_of_each(80 * DAY)
    before = all_text() | all_files(media_folder)
    call_command("retention", "--dry-run")
    assert all_text() | all_files(media_folder) == before
    day = timezone.localdate(NOW + 10 * DAY)
    assert f"mails: 1 of 2 go, the next on {day}" in capsys.readouterr().out
    call_command("retention")
    assert OutboundMail.objects.exclude(body="").count() == 1


def test_a_practice_chooses_within_limits() -> None:
    by = manager()
    chosen = clearing.save_retention(retention=Retention(pk=1, mail_days=15), by=by)
    assert chosen.history.get().history_user == by
    one_of_each(16 * DAY)
    assert clearing.clear_old(now=NOW)["mails"] == 1
    for days in (14, 731):
        with pytest.raises(ValidationError):
            clearing.save_retention(retention=Retention(pk=1, mail_days=days), by=by)


def test_every_worker_asks_and_one_job_a_day_comes_of_it() -> None:
    for _worker in range(3):
        clearing.plan_clearing(now=NOW)
    clearing.plan_clearing(now=NOW + DAY)
    days = [timezone.localdate(NOW + n * DAY).isoformat() for n in range(2)]
    assert sorted(Job.objects.values_list("key", flat=True)) == [f"clear-old:{day}" for day in days]


# -- Clients ----------------------------------------------------------------------------------


def ended(years: float, stage: str = Stage.CLOSED) -> Case:
    case = CaseFactory(stage=stage)
    Case.objects.filter(pk=case.pk).update(stage_since=NOW - timedelta(days=365.25 * years + 1))
    return case


def test_clients_past_their_time_are_listed_and_not_erased() -> None:
    old, declined, young, going_on = (
        ended(10), ended(12, Stage.DECLINED), ended(9), ended(12, Stage.PROOF),
    )  # fmt: skip
    again = ended(15)
    CaseFactory(property=again.property, stage=Stage.ENQUIRY)
    due = {one.client.pk for one in clearing.overdue_clients(now=NOW)}
    assert due == {old.property.client_id, declined.property.client_id}
    assert {young.property.client_id, going_on.property.client_id}.isdisjoint(due)
    names = set(Client.objects.values_list("name", flat=True))
    clearing.clear_old(now=NOW)
    assert set(Client.objects.values_list("name", flat=True)) == names


@pytest.mark.parametrize(("wanted", "jobs"), [(True, 1), (False, 0)])
def test_a_workers_pulse_has_the_day_cleared_once(wanted, jobs, settings, monkeypatch) -> None:
    settings.DAILY_CLEARING = wanted
    monkeypatch.setattr(tasks.Pulse, "_with_database", lambda self, work: work())
    asked: list[object] = []
    plan = clearing.plan_clearing

    def counted(*, now: datetime) -> None:
        asked.append(now)
        plan(now=now)

    monkeypatch.setattr(clearing, "plan_clearing", counted)
    pulse = tasks.Pulse(SimpleNamespace())
    for _beat in range(3):
        pulse.pulse("worker@here")
    assert (len(asked), Job.objects.filter(kind="clear-old").count()) == (jobs, jobs)
