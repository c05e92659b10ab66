"""A case folder between its preview and the word of the person who brought it.

The checked file waits on the server for a day, for its owner alone. Confirming imports it by the
same code as the command does; a second click finds the case that the first one made.
"""

import secrets
from datetime import datetime, timedelta
from typing import Any

from django.core.exceptions import ValidationError
from django.core.files.storage import default_storage
from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from consult.models import User
from consult.services.files import write_file
from consult.services.jobs import Run, enqueue
from mitigation.models import Case, PendingUpload
from mitigation.services.imports import (
    ImportResult,
    case_of_files,
    import_case_folder,
    refuse_known_reference,
)
from surveys.intake import CaseFolderRefused, Preview, Upload, check_case_folder

KEPT_FOR = timedelta(days=1)
DROP_UPLOADS = "drop-uploads"


def preview_of(upload: Upload) -> Preview:
    """What an import would say, without storing anything."""
    preview = check_case_folder(upload)
    if preview.folder is None or case_of_files(preview.folder.files.sha256):
        return preview
    try:
        refuse_known_reference(preview.folder.case.reference)
    except CaseFolderRefused as refused:
        return Preview(None, refused.faults, refused.count, preview.counts, preview.tables)
    return preview


def keep_upload(*, upload: Upload, by: User, now: datetime) -> PendingUpload:
    """Keep a checked upload until its owner confirms or cancels it."""
    drop_expired(now=now)
    token = secrets.token_urlsafe(32)
    key = f"uploads/{token}"
    write_file(key=key, data=upload.data, attempt=secrets.randbits(48))
    pending = PendingUpload(
        token=token,
        owner=by,
        name=upload.name[:200],
        file=key,
        size=len(upload.data),
        received_at=now,
        expires_at=now + KEPT_FOR,
    )
    try:
        with transaction.atomic():
            pending.full_clean()
            pending.save()
            enqueue(
                kind=DROP_UPLOADS,
                key=f"{DROP_UPLOADS}-{token}",
                arguments={},
                run_after=pending.expires_at,
            )
    except BaseException:
        default_storage.delete(key)
        raise
    return pending


def upload_of(pending: PendingUpload) -> Upload:
    """The file as it came."""
    try:
        with default_storage.open(str(pending.file)) as file:
            return Upload(pending.name, file.read())
    except FileNotFoundError as error:
        raise ValidationError(_("The file is no longer here. Please upload it again.")) from error


def confirm_upload(*, pending: PendingUpload, by: User, now: datetime) -> ImportResult:
    """Import what was previewed; CaseFolderRefused if it can't be imported any more."""
    if pending.expires_at <= now:
        raise ValidationError(_("The file has waited too long. Please upload it again."))
    return import_case_folder(source=upload_of(pending), by=by, now=now)


def cancel_upload(*, pending: PendingUpload) -> None:
    """Forget an upload; the row goes last, so that a file left over is found again."""
    default_storage.delete(str(pending.file))
    pending.delete()


def drop_expired(*, now: datetime) -> int:
    """Forget every upload that nobody confirmed in time; says how many."""
    expired = list(PendingUpload.objects.filter(expires_at__lte=now))
    for pending in expired:
        cancel_upload(pending=pending)
    return len(expired)


def drop_uploads(arguments: dict[str, Any], run: Run) -> None:
    """The job that comes when an upload has waited too long."""
    drop_expired(now=timezone.now())


def known_case(preview: Preview) -> Case | None:
    """The case that these very files made before."""
    return case_of_files(preview.folder.files.sha256) if preview.folder else None
