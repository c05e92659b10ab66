"""A case folder between its upload and its case: checked, confirmed, imported by a job.

The file waits on the server for a day, for its owner alone. It is read by jobs only, because what a
file inflates to is for a worker's limits to bear and not for the web process. Confirming writes one
job under the upload's token, so that a second click finds the first one's. The job imports by the
same code as the command does: all or nothing, and the same bytes once.

Certificates that a file brings for known instruments are listed with it, and confirmed with it: by
its owner where they may change the registers, by the office otherwise. The import adds no others;
where the register has changed since, the upload goes back to be confirmed anew.
"""

import hashlib
import secrets
from collections.abc import Callable, Sequence
from datetime import datetime, timedelta
from typing import Any
from uuid import UUID

from django.core.exceptions import ValidationError
from django.core.files.storage import default_storage
from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import override

from consult.models import Job, User
from consult.services.entry_keys import digest_of, enter_once
from consult.services.files import write_file
from consult.services.jobs import Run, enqueue, revive
from mitigation.models import Case, PendingUpload
from mitigation.services import previews
from mitigation.services.brought_items import new_items
from mitigation.services.further_visits import add_further_visits, refuse_contradictions
from mitigation.services.imports import (
    ImportResult,
    case_of_files,
    import_case_folder,
    refuse_known_reference,
)
from mitigation.services.plan_items import kinds_of_catalogue
from surveys.intake import (
    CaseFolderRefused,
    Fault,
    Preview,
    Upload,
    check_case_folder,
)
from surveys.intake.faults import MOST_SHOWN
from surveys.services.brought_certificates import (
    BroughtCertificate,
    KnownInstruments,
    UnconfirmedCertificates,
)
from surveys.services.registers import may_change_registers

KEPT_FOR = timedelta(days=1)
KEPT_FOR_OFFICE = timedelta(days=14)  # the office may be away, and the owner reads its answer
CHECK_UPLOAD = "check-upload"
IMPORT_UPLOAD = "import-upload"
DROP_UPLOADS = "drop-uploads"

State = PendingUpload.State
Step = PendingUpload.Step
Decision = PendingUpload.Decision


def preview_of(upload: Upload, into: Case | None = None) -> Preview:
    """What an import would say, without storing anything."""
    preview = check_case_folder(upload, kinds_of_catalogue())
    if preview.folder is None or case_of_files(preview.folder.files.sha256):
        return preview
    rows = preview.folder.instruments
    faults = KnownInstruments(rows).contradictions(rows)
    try:
        if into is None:
            refuse_known_reference(preview.folder.case.reference)
        else:
            refuse_contradictions(preview.folder, into)
    except CaseFolderRefused as refused:
        faults = [*refused.faults, *faults]
    if not faults:
        return preview
    listed = tuple(faults[:MOST_SHOWN])
    return Preview(None, listed, len(faults), preview.counts, preview.tables)


def keep_upload(
    *,
    upload: Upload,
    by: User,
    now: datetime,
    key: UUID | None = None,
    into: Case | None = None,
) -> PendingUpload:
    """Keep an upload until its owner confirms or cancels it, and have a job check it.

    What it brings makes a case of its own, or further visits of the one that it goes `into`.
    """
    drop_expired(now=now)
    content = {
        "name": upload.name,
        "sha256": hashlib.sha256(upload.data).hexdigest(),
        **({"into": into.pk} if into else {}),
    }
    digest = digest_of(key, "upload", by.pk, content)
    return enter_once(PendingUpload, digest, lambda: _kept(upload, by, now, into))


def _kept(upload: Upload, by: User, now: datetime, into: Case | None) -> PendingUpload:
    token = secrets.token_urlsafe(32)
    key = f"uploads/{token}"
    write_file(key=key, data=upload.data, attempt=secrets.randbits(48))
    pending = PendingUpload(
        token=token,
        owner=by,
        into=into,
        name=upload.name[:200],
        file=key,
        size=len(upload.data),
        received_at=now,
        expires_at=now + KEPT_FOR,
        state=State.CHECKING,
        step=Step.WAITING,
    )
    try:
        with transaction.atomic():
            pending.full_clean(exclude=["preview"])
            pending.save()
            _enqueue(pending, CHECK_UPLOAD)
            _drop_at(pending.expires_at, f"{DROP_UPLOADS}-{token}")
    except BaseException:
        default_storage.delete(key)
        raise
    return pending


def confirm_upload(*, pending: PendingUpload, now: datetime, seen: int = 0) -> bool:
    """Have what was previewed imported; False when that was asked for before.

    `seen` is how often the upload had come back when its owner looked at it.
    """
    ready = PendingUpload.objects.filter(
        pk=pending.pk, state=State.READY, expires_at__gt=now, times_returned=seen
    )
    with transaction.atomic():
        if seen == pending.times_returned and ready.update(
            state=State.IMPORTING,
            step=Step.WAITING,
            confirmed_at=now,
            expires_at=now + KEPT_FOR,
        ):
            have_imported(pending, until=now + KEPT_FOR)
            return True
    found = PendingUpload.objects.filter(pk=pending.pk).first()
    if found is None or found.expires_at <= now:
        raise ValidationError(_("The file has waited too long. Please upload it again."))
    if found.confirmed_at is None and found.state == State.OFFICE:
        raise ValidationError(_("It waits for the office, which has not decided yet."))
    if found.confirmed_at is None and found.times_returned != seen:
        raise ValidationError(changed_meanwhile())
    if found.confirmed_at is None:
        raise ValidationError(_("The file has not been checked yet, or something in it is wrong."))
    return False


def changed_meanwhile() -> str:
    return _("The upload or the register has changed meanwhile. Please look at it again.")


def cancel_upload(*, pending: PendingUpload) -> None:
    """Forget an upload; one that is being imported is beyond cancelling."""
    with transaction.atomic():
        found = PendingUpload.objects.select_for_update().filter(pk=pending.pk).first()
        if found is None:
            return
        if found.state == State.IMPORTING:
            raise ValidationError(_("It is being imported already and cannot be cancelled."))
        default_storage.delete(str(found.file))
        found.delete()


def retry_upload(*, pending: PendingUpload, now: datetime) -> bool:
    """Another try where the job was given up; False when it was not."""
    kind = IMPORT_UPLOAD if pending.confirmed_at else CHECK_UPLOAD
    state = State.IMPORTING if pending.confirmed_at else State.CHECKING
    failed = PendingUpload.objects.filter(pk=pending.pk, state=State.FAILED, expires_at__gt=now)
    with transaction.atomic():
        if not failed.update(state=state, step=Step.WAITING, failure=""):
            return False
        revive(job=Job.objects.get(key=_key(pending, kind)), now=now)
    return True


def drop_expired(*, now: datetime) -> int:
    """Forget every upload whose time is over, except while a worker has it; says how many."""
    expired = PendingUpload.objects.filter(expires_at__lte=now).exclude(state=State.IMPORTING)
    dropped = 0
    for pending in expired:
        cancel_upload(pending=pending)
        dropped += 1
    return dropped


def known_case(pending: PendingUpload) -> Case | None:
    """The case that these very files made before."""
    return case_of_files(pending.content_sha256) if pending.content_sha256 else None


# -- Jobs ---------------------------------------------------------------------------------------


def check_upload(arguments: dict[str, Any], run: Run) -> None:
    """Check a file and keep what its owner will be shown."""
    rows = PendingUpload.objects.filter(pk=arguments["upload"], state=State.CHECKING)
    if not rows.update(step=Step.CHECKING):
        return
    pending = rows.select_related("owner", "into__property__client", "into__guideline").get()
    upload = _upload_of(pending)
    with override(pending.owner.language):
        if upload is None:
            _refuse(rows, pending, previews.refused([_gone(pending)], 1))
            return
        preview = preview_of(upload, pending.into)
        certificates = _brought(preview)
        wrong = {} if preview.ok else previews.shown(preview)
    if not run.is_current():
        return
    if preview.ok:
        _await(rows, pending, certificates, **_checked(preview, pending))
    else:
        _refuse(rows, pending, wrong)


def import_upload(arguments: dict[str, Any], run: Run) -> None:
    """Import a confirmed file. An attempt after one that was killed finds the case that it made."""
    rows = PendingUpload.objects.filter(pk=arguments["upload"], state=State.IMPORTING)
    if not rows.update(step=Step.CHECKING):
        return
    pending = rows.select_related("owner", "into__property__client", "into__guideline").get()
    upload = _upload_of(pending)
    with override(pending.owner.language):
        if upload is None:
            _refuse(rows, pending, previews.refused([_gone(pending)], 1))
            return
        try:
            result = _import(
                pending, upload, lambda n: rows.update(step=Step.STORING, n_readings=n)
            )
        except UnconfirmedCertificates as refused:
            _return(rows, pending, refused.brought)
            return
        except CaseFolderRefused as refused:
            _refuse(rows, pending, previews.refused(refused.faults, refused.count))
            return
    rows.update(state=State.DONE, step=Step.NONE, case=result.case, preview={})
    default_storage.delete(str(pending.file))


def _import(
    pending: PendingUpload, upload: Upload, before_storing: Callable[[int], object]
) -> ImportResult:
    by, now, confirmed = pending.owner, timezone.now(), _confirmed(pending)
    if pending.into is not None:
        return add_further_visits(
            source=upload,
            into=pending.into,
            by=by,
            now=now,
            before_storing=before_storing,
            confirmed=confirmed,
        )
    return import_case_folder(
        source=upload, by=by, now=now, before_storing=before_storing, confirmed=confirmed
    )


def upload_failed(arguments: dict[str, Any], reason: str) -> None:
    """Say on the upload why its job was given up."""
    moving = [State.CHECKING, State.IMPORTING]
    PendingUpload.objects.filter(pk=arguments["upload"], state__in=moving).update(
        state=State.FAILED, step=Step.NONE, failure=reason
    )


def drop_uploads(arguments: dict[str, Any], run: Run) -> None:
    """The job that comes when an upload has waited too long."""
    drop_expired(now=timezone.now())


def _brought(preview: Preview) -> list[dict[str, Any]]:
    """The certificates for known instruments; none from files that made their case before."""
    if preview.folder is None or case_of_files(preview.folder.files.sha256):
        return []
    rows = preview.folder.instruments
    return [certificate.as_data() for certificate in KnownInstruments(rows).brought(rows)]


def _confirmed(pending: PendingUpload) -> list[BroughtCertificate]:
    """The certificates that somebody confirmed who may change the registers."""
    if pending.decision != Decision.CONFIRMED and not may_change_registers(pending.owner):
        return []
    return [BroughtCertificate.from_data(data) for data in pending.certificates]


def _await(
    rows: Any, pending: PendingUpload, certificates: list[dict[str, Any]], **fields: Any
) -> None:
    """Leave an upload to whoever may confirm it, with the certificates that it brings."""
    state = State.READY
    if certificates and not may_change_registers(pending.owner):
        state = State.OFFICE
        fields["expires_at"] = timezone.now() + KEPT_FOR_OFFICE
    fields |= {"state": state, "step": Step.NONE, "certificates": certificates}
    with transaction.atomic():
        if rows.update(**fields) and "expires_at" in fields:
            _drop_at(fields["expires_at"], f"{_key(pending, DROP_UPLOADS)}-{state}")


def _return(rows: Any, pending: PendingUpload, brought: Sequence[BroughtCertificate]) -> None:
    """Have an upload confirmed anew, because the register is another than when it was."""
    pending.times_returned += 1
    _await(
        rows,
        pending,
        [certificate.as_data() for certificate in brought],
        times_returned=pending.times_returned,
        expires_at=timezone.now() + KEPT_FOR,
        confirmed_at=None,
        decision=Decision.NONE,
        decided_by=None,
        decided_at=None,
        decision_reason="",
    )


def have_imported(pending: PendingUpload, *, until: datetime) -> None:
    """Write the job that imports what was confirmed, and the one that forgets the upload."""
    _enqueue(pending, IMPORT_UPLOAD)
    _drop_at(until, f"{_key(pending, DROP_UPLOADS)}-confirmed")


def _enqueue(pending: PendingUpload, kind: str) -> None:
    enqueue(kind=kind, key=_key(pending, kind), arguments={"upload": pending.pk})


def _key(pending: PendingUpload, kind: str) -> str:
    """A key for each time that the upload is confirmed anew."""
    again = f":{pending.times_returned}" if pending.times_returned else ""
    return f"{kind}:{pending.token}{again}"


def _drop_at(when: datetime, key: str) -> None:
    enqueue(kind=DROP_UPLOADS, key=key, arguments={}, run_after=when)


def _checked(preview: Preview, pending: PendingUpload) -> dict[str, Any]:
    """What a preview leaves on the row."""
    assert preview.folder is not None
    said = previews.shown(preview)
    if pending.into is not None:
        labels = set(pending.into.visits.values_list("label", flat=True))
        names = [row.name for row in preview.folder.visits]
        said["new_visits"] = [name for name in names if name not in labels]
        said["known_visits"] = [name for name in names if name in labels]
        said["n_new_items"] = len(new_items(pending.into, preview.folder.remedies))
    return {
        "preview": said,
        "n_readings": said["n_readings"],
        "content_sha256": preview.folder.files.sha256,
    }


def _refuse(rows: Any, pending: PendingUpload, said: dict[str, Any]) -> None:
    """Keep what is wrong, and not the file; unless another attempt has come to an end meanwhile."""
    if rows.update(state=State.REFUSED, step=Step.NONE, preview=said):
        default_storage.delete(str(pending.file))


def _upload_of(pending: PendingUpload) -> Upload | None:
    """The file as it came; None when it is not there any more."""
    try:
        with default_storage.open(str(pending.file)) as file:
            return Upload(pending.name, file.read())
    except FileNotFoundError:
        return None


def _gone(pending: PendingUpload) -> Fault:
    wanted = _("the file that was uploaded; upload it again")
    return Fault(pending.name, None, None, None, wanted)
