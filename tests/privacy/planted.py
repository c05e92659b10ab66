"""A person with rows in every table, and a marker in each of their personal fields.

The markers are planted by what the classification says, so that a new field is tried too.
"""

import uuid
from dataclasses import dataclass
from datetime import timedelta
from typing import Any

from allauth.account.models import EmailAddress, EmailConfirmation
from allauth.mfa.models import Authenticator
from allauth.usersessions.models import UserSession
from django.contrib.admin.models import CHANGE, LogEntry
from django.contrib.auth.models import Group, Permission
from django.contrib.contenttypes.models import ContentType
from django.contrib.sessions.backends.db import SessionStore
from django.core.files.base import ContentFile
from django.core.files.storage import default_storage
from django.db import models, transaction
from django.utils import timezone

from consult.intake.contents import ZIP
from consult.models import (
    AccessEvent,
    Client,
    Contact,
    DataRequest,
    Job,
    Letter,
    MedicalDevice,
    User,
)
from consult.services.clients import merge_clients, remove_contact
from consult.services.guards import unguarded
from consult.services.mail import queue_mail
from consult.services.people import invite_person, record_event
from consult.services.privacy.fates import Blank, Goes, Keys
from consult.services.privacy.packages import ask_package
from consult.services.privacy.persons import history_of, keys_of, subject_of_client, tables
from consult.services.stored_files import write_stored
from consult.tasks import run_job
from mitigation.models import (
    Appointment,
    CalendarFeed,
    Case,
    Decision,
    Enquiry,
    FormerReference,
    Plan,
    PlanDraft,
    PlanItem,
    Remedy,
    Stage,
    TestValue,
    TrialFit,
    WorkItem,
    WorkOrder,
    WorkPhoto,
    WorkReport,
    WorkResult,
    WorksConfirmation,
)
from mitigation.services.attachments import attach_file
from mitigation.services.cases import add_note
from mitigation.services.uploads import keep_upload
from surveys.models import (
    Appliance,
    AssessorWords,
    Circuit,
    Correction,
    GroundCheck,
    GroundPoint,
    Panel,
    PlaceRemark,
    SourceFile,
    Visit,
)
from tests.factories import (
    PASSWORD,
    FirmFactory,
    UserFactory,
    assign,
    compared_case,
    ready_draft,
    ready_letter,
)
from tests.surveys.case_folders import as_zip

# Words that are planted before the markers, so that a finder that misses their rows is noticed:
# of rows that only the history has, of a record that was merged, of rows that no key points from.
OWN_WORDS = {
    "a contact that was removed": "only the history has it",
    "the record that was merged": "merged away",
    "its address": "second record",
    "its contact": "came along",
    "a mail about a letter": "mailed to another address",
    "a job about a letter": "refused by the printer",
    "the admin's log": "seen in the admin",
    "the access log": "seen at the door",
}
LONG_AGO = timezone.now() - timedelta(days=365 * 12)


@dataclass(frozen=True)
class Planted:
    """The person, who erases them, and the markers by field."""

    client: Client
    login: User
    manager: User
    case: Case
    letter: Letter
    markers: dict[str, str]

    def marker(self, where: str) -> str:
        return self.markers[where]


def closed_case() -> Case:
    """A case that ended longer ago than cases are kept."""
    case = compared_case(placement_percent=7.0)
    Case.objects.filter(pk=case.pk).update(stage=Stage.CLOSED, stage_since=LONG_AGO)
    case.refresh_from_db()
    return case


def plant() -> Planted:
    """A client with everything that a client can have."""
    manager = UserFactory(role=User.Role.OFFICE, is_manager=True)
    case = closed_case()
    client = case.property.client
    client.email = "planted@example.org"
    client.save()
    login = invite_person(
        by=manager, site="http://localhost", now=timezone.now(), email=client.email,
        name="Planted", role=User.Role.CLIENT, language="en",
    )  # fmt: skip
    login.set_password(PASSWORD)  # so the address is known to be theirs
    login.save()
    client.refresh_from_db()
    letter = ready_letter(case)
    ready_draft(case)
    Job.objects.filter(key__endswith=letter.number).update(last_error="refused by the printer")
    _people(client, login, manager, case)
    _measured(case)
    _notes_and_files(case, client, manager, letter)
    _works(case, manager)
    _log_in(login, manager, client)
    markers = _mark(keys_of(subject_of_client(client)))
    for row in (client, login, letter, case):
        row.refresh_from_db()
    record_event(kind=AccessEvent.Kind.LOGIN_REFUSED, now=timezone.now(), what=login.email)
    return Planted(client, login, manager, case, letter, markers)


def _people(client: Client, login: User, manager: User, case: Case) -> None:
    assign(UserFactory(role=User.Role.ASSESSOR), case.property)
    Contact.objects.create(
        client=client, part="landlord", name="a", email="a@example.org", phone="1", address="b"
    )
    gone = Contact.objects.create(client=client, part="payer", name="only the history has it")
    remove_contact(contact=gone, by=manager)
    other = Client.objects.create(name="merged away", address="second record")
    Contact.objects.create(client=other, part="other", name="came along")
    merge_clients(keep=client, gone=other, by=manager)
    login.groups.add(Group.objects.create(name="a group"))
    login.user_permissions.add(Permission.objects.first())
    DataRequest.objects.create(client=client, kind="copy", asked_at=timezone.now())


def _measured(case: Case) -> None:
    home = case.property
    stored = write_stored(
        key="imports/planted.zip", chunks=[b"source"], kind=ZIP, now=timezone.now()
    )
    stored.save()
    source = SourceFile.objects.create(
        property=home, name="a.zip", stored=stored, sha256="0" * 64, received_at=timezone.now()
    )  # fmt: skip
    panel = Panel.objects.create(property=home, name="panel")
    circuit = Circuit.objects.create(panel=panel, name="circuit", label="bed", note="n")
    Appliance.objects.create(property=home, name="lamp", circuit=circuit, note="n")
    point = GroundPoint.objects.create(property=home, name="pipe")
    with transaction.atomic(), unguarded():
        for visit in case.visits.all():
            visit.source, visit.assessor, visit.note = source, "who", "note"
            visit.instructions = "key"
            visit.save()
            check = GroundCheck.objects.create(visit=visit, point=point, note="n")
            check.save()
            for reading in visit.readings.all():
                reading.set_aside = "why"
                reading.save()
                Correction.objects.create(reading=reading, reason="r", made_at=timezone.now())
            _words_of(visit)
    case.source = source
    case.save()
    Enquiry.objects.create(case=case, reason="r")
    PlanDraft.objects.create(case=case, name="n", made_at=timezone.now())
    MedicalDevice.objects.create(property=home, words="w", agreed_at=timezone.now())
    FormerReference.objects.create(case=case, reference="EB/7")
    _planned(case, circuit)


def _planned(case: Case, circuit: Circuit) -> None:
    """An item of a plan, and what a trial says of a circuit by its name."""
    remedy = Remedy.objects.get(key="demand-switch")
    item = PlanItem.objects.create(
        case=case, name="R1", position=1, remedy=remedy, done_by="who", note="n"
    )
    item.circuits.add(circuit)
    visit = case.visits.earliest("pk")
    reading = visit.readings.earliest("pk")
    TrialFit.objects.create(
        visit=visit, spot=reading.spot, measurand=reading.measurand, digest="0" * 64,
        rule="attribution-1", names=[circuit.folded], draws=b"draws", made_at=timezone.now(),
    )  # fmt: skip
    now = timezone.now()
    plan = Plan.objects.create(
        case=case, number=1, content={"words": "w"}, content_sha256="0" * 64,
        valid_until=now.date(), offered_at=now,
    )  # fmt: skip
    Decision.objects.create(
        plan=plan, answer=Decision.Answer.ACCEPTED, option="A", items=["R1"], name="who",
        words="w", content_sha256="0" * 64, way=Decision.Way.choices[0][0], decided_at=now,
    )  # fmt: skip


def _works(case: Case, manager: User) -> None:
    """An order with a signed report on it, a photo in it, and what the client said of the works."""
    now = timezone.now()
    item = case.items.get()
    firm = FirmFactory()
    order = WorkOrder.objects.create(case=case, number=1, firm=firm, made_at=now)
    row = WorkItem.objects.create(order=order, item=item, position=0)
    Appointment.objects.create(
        order=order, side="firm", asked="client", minutes=60, state="declined", proposed_at=now,
        proposed_name="who", answered_at=now, answered_name="who", reason="r",
    )  # fmt: skip
    report = WorkReport.objects.create(order=order, number=1, began_at=now)
    WorkResult.objects.create(report=report, work_item=row, result="done", done_on=now.date())
    TestValue.objects.create(report=report, work_item=row, test="bond", value=0.2)
    WorkPhoto.objects.create(report=report, attachment=case.attachments.earliest("pk"))
    WorksConfirmation.objects.create(case=case, name="who", confirmed_at=now)
    WorkReport.objects.filter(pk=report.pk).update(signed_at=now, signed_by=manager)


def _words_of(visit: Visit) -> None:
    AssessorWords.objects.create(
        visit=visit, summary="s", recommendations="r", written_at=timezone.now()
    )
    for spot in {reading.spot for reading in visit.readings.all()}:
        PlaceRemark.objects.create(visit=visit, spot=spot, text="t")


def _file(key: str, data: bytes) -> str:
    return default_storage.save(key, ContentFile(data))


def _notes_and_files(case: Case, client: Client, manager: User, letter: Letter) -> None:
    now = timezone.now()
    add_note(case=case, text="a note", by=manager, now=now)
    attach_file(case=case, name="a.txt", content=ContentFile(b"attached"), by=manager, now=now)
    upload = keep_upload(upload=as_zip(), by=manager, now=now)
    type(upload).objects.filter(pk=upload.pk).update(state="ready")
    package = ask_package(person=client, by=manager, now=now)
    run_job(_job(f"make-package:{package.pk}"))
    queue_mail(
        key=f"letter-link:{letter.pk}:1",
        letter=letter,
        to="x@example.org",
        subject="s",
        body="mailed to another address",
    )


def _job(key: str) -> int:
    return Job.objects.get(key=key).pk


def _log_in(login: User, manager: User, client: Client) -> None:
    now = timezone.now()
    address = EmailAddress.objects.create(user=login, email=login.email)
    EmailConfirmation.objects.create(email_address=address, key=uuid.uuid4().hex)
    Authenticator.objects.create(user=login, type="totp", data={"secret": "s"})
    CalendarFeed.objects.create(user=login, made_at=now)
    session = SessionStore()
    session["_auth_user_id"] = str(login.pk)
    session.save()
    UserSession.objects.create(
        user=login, ip="192.0.2.7", session_key=session.session_key, user_agent="u"
    )
    record_event(
        kind=AccessEvent.Kind.LOGGED_IN, now=now, by=login, about=login, what="seen at the door",
        address="192.0.2.7",
    )  # fmt: skip
    LogEntry.objects.create(
        user=manager, content_type=ContentType.objects.get_for_model(Client),
        object_id=str(client.pk), object_repr="seen in the admin",
        action_flag=CHANGE, change_message="m",
    )  # fmt: skip


# -- Markers ----------------------------------------------------------------------------------


def _mark(keys: Keys) -> dict[str, str]:
    """Put a word of its own into every personal field of text, live and in the history."""
    markers: dict[str, str] = {}
    with transaction.atomic(), unguarded():
        for number, table in enumerate(tables()):
            model = table.get_model()
            assert keys[table.model] or not (table.deletes or table.blanks), table.model
            for place, (name, fate) in enumerate(table.fields.items()):
                field = model._meta.get_field(name)
                if not isinstance(fate, Blank | Goes) or not _takes_a_word(field):
                    continue
                for age, rows, key in _ages(model, keys[table.model]):
                    if age == "past" and not _has(rows.model, name):
                        continue
                    word = f"zq{number:02d}x{place:02d}{age[0]}"
                    where = f"{table.model}.{name}" + (" before" if age == "past" else "")
                    if _write(rows, key, field, word):
                        markers[where] = word
    _mark_files(keys, markers)
    return markers


def _ages(model: Any, pks: set[Any]) -> list[tuple[str, Any, str]]:
    history = history_of(model)
    found = [("live", model._base_manager.filter(pk__in=pks), "pk")]
    if history is not None:
        found.append(("past", history.objects.filter(id__in=pks), "history_id"))
    return found


def _has(model: Any, name: str) -> bool:
    return name in {field.name for field in model._meta.concrete_fields}


def _takes_a_word(field: Any) -> bool:
    if field.choices or isinstance(field, models.FileField) or field.primary_key:
        return False
    if field.name in ("state", "sha256", "token", "session_key", "message_id", "key"):
        return False  # what rows are found by, or are known by
    return isinstance(
        field, models.CharField | models.TextField | models.JSONField | models.BinaryField
    )


def _write(rows: Any, key: str, field: Any, word: str) -> bool:
    """One word for all rows of a table; unique fields get the row's number behind it."""
    wrote = False
    if rows.model is AccessEvent:
        rows = rows.exclude(what__contains="@")  # found by the address, which is marked itself
    for pk in list(rows.values_list("pk", flat=True)):
        row = rows.model._base_manager.filter(pk=pk)
        if isinstance(field, models.JSONField):
            before = row.values_list(field.name, flat=True)[0] or {}
            value: Any = [*before, word] if isinstance(before, list) else before | {"planted": word}
        elif isinstance(field, models.BinaryField):
            value = word.encode()
        elif isinstance(field, models.EmailField):
            value = f"{word}@example.org" if not field.unique else f"{word}{pk}@example.org"
        else:
            before = row.values_list(field.name, flat=True)[0] or ""
            most = field.max_length or 10_000
            value = f"{before[: most - len(word) - 8]} {word} {pk}"
        row.update(**{field.name: value})
        wrote = True
    return wrote


def _mark_files(keys: Keys, markers: dict[str, str]) -> None:
    for number, table in enumerate(tables()):
        if table.file is None:
            continue
        word = f"zqfile{number:02d}"
        for row in table.get_model()._base_manager.filter(pk__in=keys[table.model]):
            key = table.file(row)
            default_storage.delete(key)
            _file(key, word.encode())
            markers[f"{table.model} file"] = word
