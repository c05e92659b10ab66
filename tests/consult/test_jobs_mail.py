"""Mail as rows: written with the change, sent once by a job."""

import pytest
from django.core import mail
from django.core.exceptions import ValidationError
from django.db import transaction
from pytest_django import Settings

from consult import services
from consult.models import Job, OutboundMail
from consult.tasks import run_job

pytestmark = pytest.mark.django_db

MESSAGE = {"to": "ida@example.org", "subject": "Your letter", "body": "It is ready."}


def run_the_job() -> Job:
    job = Job.objects.get()
    run_job(job.pk)
    job.refresh_from_db()
    return job


def test_the_same_key_is_one_message() -> None:
    first = services.queue_mail(key="letter-ready:1", **MESSAGE)
    second = services.queue_mail(key="letter-ready:1", **MESSAGE | {"body": "Again."})
    assert first.pk == second.pk
    assert second.body == "It is ready."
    assert Job.objects.count() == 1


def test_a_message_of_a_change_that_failed_is_not_sent() -> None:
    with transaction.atomic():
        services.queue_mail(key="letter-ready:1", **MESSAGE)
        transaction.set_rollback(True)
    assert not OutboundMail.objects.exists()
    assert not Job.objects.exists()


def test_a_message_goes_out_once_under_its_own_id() -> None:
    row = services.queue_mail(key="letter-ready:1", **MESSAGE)
    assert run_the_job().state == "done"
    Job.objects.update(state="waiting")  # the worker died after the row, before the job
    assert run_the_job().state == "done"
    row.refresh_from_db()
    assert row.sent_at is not None
    assert [message.to for message in mail.outbox] == [["ida@example.org"]]
    assert mail.outbox[0].message()["Message-ID"] == row.message_id


def test_a_link_that_was_sent_is_not_kept() -> None:
    link = "https://practice.example/letters/link/WzEsMV0:secret/"
    row = services.queue_mail(
        key="link:1", **MESSAGE | {"body": f"Here:\n\n{link}\n\nThe practice"}
    )
    run_the_job()
    row.refresh_from_db()
    assert link in mail.outbox[0].body
    assert row.body == "Here:\n\nhttps://practice.example/…\n\nThe practice"


def test_a_server_that_refuses_is_asked_again(settings: Settings) -> None:
    settings.JOB_BACKOFF_S = 0
    services.queue_mail(key="letter-ready:1", **MESSAGE)
    settings.EMAIL_BACKEND = "django.core.mail.backends.smtp.EmailBackend"
    settings.EMAIL_HOST, settings.EMAIL_PORT = "127.0.0.1", 1
    job = run_the_job()
    assert job.state == "waiting"
    assert "ConnectionRefusedError" in job.last_error
    settings.EMAIL_BACKEND = "django.core.mail.backends.locmem.EmailBackend"
    assert run_the_job().state == "done"
    assert len(mail.outbox) == 1


def test_an_address_that_is_none_is_refused_at_once() -> None:
    with pytest.raises(ValidationError, match="email"):
        services.queue_mail(key="letter-ready:1", **MESSAGE | {"to": "nobody"})
