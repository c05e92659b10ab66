"""All that is held of a person, as one ZIP for them: made by a job, dropped after some days."""

import json
import re
import secrets
import tempfile
import zipfile
from datetime import datetime, timedelta
from typing import IO, Any, cast
from uuid import UUID

from django.core.exceptions import ValidationError
from django.core.files import File
from django.core.files.storage import default_storage
from django.core.serializers.json import DjangoJSONEncoder
from django.db import models, transaction
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import override

from consult.models import Client, DataPackage, Retention, User
from consult.services.entry_keys import digest_of, enter_once
from consult.services.files import drop_file, write_chunks
from consult.services.jobs import Run, enqueue
from consult.services.mail import name_of_practice
from consult.services.privacy.erasures import subject_of
from consult.services.privacy.fates import Keys, Subject, Table
from consult.services.privacy.persons import history_of, keys_of, rows_of, tables

MAKE_PACKAGE = "make-package"
DROP_PACKAGES = "drop-packages"
HAPPENED = {"+": "entered", "~": "changed", "-": "removed"}
_ODD = re.compile(r"[^\w.() /-]")
Entries = list[dict[str, Any]]


@transaction.atomic
def ask_package(
    *, person: Client | User, by: User | None, now: datetime, key: UUID | None = None
) -> DataPackage:
    """Order a copy of a person's data; while one is being made, return that one."""
    whose = {"client": person} if isinstance(person, Client) else {"user": person}
    type(person)._base_manager.select_for_update().get(pk=person.pk)

    def enter() -> DataPackage:
        waiting = DataPackage.objects.filter(state=DataPackage.State.QUEUED, **whose).first()
        return waiting or _new_package(whose, by, now)

    return enter_once(DataPackage, digest_of(key, "package", person.pk, whose), enter)


def _new_package(whose: Any, by: User | None, now: datetime) -> DataPackage:
    token = secrets.token_urlsafe(32)
    package = DataPackage(
        token=token,
        asked_by=by,
        asked_at=now,
        file=f"packages/{token}.zip",
        expires_at=now + timedelta(days=Retention.current().package_days),
        **whose,
    )
    package.full_clean()
    package.save()
    enqueue(
        kind=MAKE_PACKAGE, key=f"{MAKE_PACKAGE}:{package.pk}", arguments={"package": package.pk}
    )
    enqueue(
        kind=DROP_PACKAGES,
        key=f"{DROP_PACKAGES}:{package.pk}",
        arguments={},
        run_after=package.expires_at,
    )
    return package


def make_package(arguments: dict[str, Any], run: Run) -> None:
    """The job: write the ZIP and mark it ready; delete it if it was dropped meanwhile."""
    package = DataPackage.objects.select_related("client", "user").get(pk=arguments["package"])
    rows = DataPackage.objects.filter(pk=package.pk, state=DataPackage.State.QUEUED)
    if not rows.exists():
        return
    person = package.client or package.user
    assert person is not None  # a constraint of the table
    with tempfile.TemporaryFile() as file:
        write_package(person=person, out=file, run=run)
        size = file.tell()
        file.seek(0)
        key = str(package.file)
        if not run.is_current():
            return
        write_chunks(key=key, chunks=File(file).chunks(), attempt=run.attempt)
    if not rows.update(state=DataPackage.State.READY, size=size, ready_at=timezone.now()):
        drop_file(key=key)


def package_failed(arguments: dict[str, Any], reason: str) -> None:
    """Say on the package why it was given up."""
    queued = DataPackage.objects.filter(pk=arguments["package"], state=DataPackage.State.QUEUED)
    queued.update(state=DataPackage.State.FAILED, failure=reason)


def drop_packages(arguments: dict[str, Any], run: Run) -> None:
    """The job that comes when a package's days are over."""
    for package in DataPackage.objects.filter(expires_at__lte=timezone.now()):
        drop_file(key=str(package.file))
        package.delete()


def open_package(*, package: DataPackage, now: datetime) -> IO[bytes]:
    """The ZIP, while its days last."""
    if package.state != DataPackage.State.READY or package.expires_at <= now:
        raise ValidationError(_("This copy is not there any more. Have a new one made."))
    try:
        return cast("IO[bytes]", default_storage.open(str(package.file)))
    except OSError as error:
        raise ValidationError(_("This copy is not there any more. Have a new one made.")) from error


# -- What is in it ----------------------------------------------------------------------------


def write_package(*, person: Client | User, out: IO[bytes], run: Run | None = None) -> None:
    """Write everything held of `person` into a ZIP: a JSON to read, and the files as they are."""
    subject = subject_of(person)
    keys = keys_of(subject)
    missing: list[str] = []
    with override(person.language), zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as packed:
        held = _held(subject, keys)
        for name, key in _kept_files(keys):
            try:
                with default_storage.open(key) as file, packed.open(name, "w") as entry:
                    for block in file.chunks():
                        entry.write(block)
            except OSError:
                missing.append(name)
        if run is not None:
            run.progress(80)
        remarks = {"files that were not there": missing} if missing else {}
        text = json.dumps(held | remarks, cls=DjangoJSONEncoder, ensure_ascii=False, indent=1)
        packed.writestr("data.json", text)
        packed.writestr(_("read-me") + ".txt", _cover(person))


def _cover(person: Client | User) -> str:
    practice = name_of_practice()
    return _(
        "%(practice)s holds these data of %(name)s.\n\n"
        "data.json lists them table by table: what stands there now, and under “history” "
        "who changed what and when. The folders hold the files as they are.\n\n"
        "Left out, because they are another person's: phone, e-mail and address of people beside "
        "the client. Left out, because they open an account: passwords, second factors and "
        "tokens.\n"
    ) % {"practice": practice, "name": person.name}


def _held(subject: Subject, keys: Keys) -> dict[str, Any]:
    people = dict(User.objects.values_list("pk", "name"))
    held: dict[str, Any] = {}
    for table in tables():
        if table.not_copied or not keys[table.model]:
            continue
        model = table.get_model()
        part: dict[str, Any] = {
            "rows": [_entry(row, table, people) for row in rows_of(model, keys[table.model])]
        }
        history = history_of(model)
        if history is not None:
            past = rows_of(history, keys[table.model], by="id")
            part["history"] = [_past_entry(row, table, people) for row in past]
        if table.withheld:
            part["left out"] = {name: str(why) for name, why in table.withheld.items()}
        held[f"{table.label} ({table.model})"] = part
    return held


def _entry(row: Any, table: Table, people: dict[int, str]) -> dict[str, Any]:
    """A row as names and values; a log-in is told by its name, another row by its number."""
    values = {}
    for column in row._meta.concrete_fields:
        if column.name in table.withheld or column.name.startswith("history_"):
            continue
        value = getattr(row, column.attname)
        if isinstance(column, models.FileField):
            value = str(value)
        elif column.remote_field is not None and column.remote_field.model is User:
            value = people.get(value)
        elif column.name in table.shortened:
            value = table.shortened[column.name](value)
        elif isinstance(value, float) and not value.is_integer():
            value = float(f"{value:.15g}")
        values[column.name] = (
            f"{len(value)} bytes" if isinstance(value, bytes | memoryview) else value
        )
    return values


def _past_entry(row: Any, table: Table, people: dict[int, str]) -> dict[str, Any]:
    return {
        "when": row.history_date,
        "what": HAPPENED.get(row.history_type, row.history_type),
        "who": people.get(row.history_user_id),
        "why": row.history_change_reason or "",
        "as it was then": _entry(row, table, people),
    }


def _kept_files(keys: Keys) -> list[tuple[str, str]]:
    """Name in the copy, and key, of every kept file."""
    return [
        (_ODD.sub("_", table.file_name(row)).replace("..", "_"), key)
        for table in tables()
        if table.file is not None and table.file_name is not None and not table.not_copied
        for row in rows_of(table.get_model(), keys[table.model])
        if (key := table.file(row))
    ]
