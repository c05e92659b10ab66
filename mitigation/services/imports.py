"""A case folder becomes a case: all of it or nothing, and the same bytes only once."""

from collections.abc import Callable, Collection
from dataclasses import dataclass
from datetime import datetime

from django.db import IntegrityError, transaction
from django.utils.translation import gettext

from consult.models import Assignment, Client, Property, StoredFile, User
from mitigation.models import Case, CaseVisit, Stage
from mitigation.models.progress import Fact, stage_reached
from mitigation.services.cases import due_after
from mitigation.services.plan_items import kinds_of_catalogue, store_items
from mitigation.services.references import is_taken, next_reference
from mitigation.services.search import index_cases
from surveys.intake import (
    CaseFolderRefused,
    CheckedFolder,
    Fault,
    Source,
    open_case_folder,
    read_case_folder,
)
from surveys.intake.casefile import CaseFile
from surveys.intake.sources import CASE
from surveys.models import Guideline, SourceFile, Visit
from surveys.services.brought_certificates import BroughtCertificate
from surveys.services.imports import save_new, store_survey
from surveys.services.kept_files import describe_folder, kept_folder
from surveys.services.trial_changes import follow_trials

_TRIES = 20
_SEALED = {Visit.Kind.BASELINE: Fact.BASELINE_SEALED, Visit.Kind.FOLLOW_UP: Fact.FOLLOW_UP_SEALED}


@dataclass(frozen=True)
class ImportResult:
    """The case of a folder, and whether this import made it."""

    case: Case
    created: bool


def import_case_folder(
    *,
    source: Source,
    by: User | None,
    now: datetime,
    before_storing: Callable[[int], object] | None = None,
    confirmed: Collection[BroughtCertificate] | None = None,
) -> ImportResult:
    """Enter a case folder; if it is wrong, CaseFolderRefused with every fault, nothing stored.

    `before_storing` is told the number of readings, once they are checked and before the first is
    stored. `confirmed` are the certificates that known instruments may get; None leaves it to what
    `by` may, and without anybody it is the office's command.
    """
    files = open_case_folder(source)
    known = case_of_files(files.sha256)
    if known is not None:
        return ImportResult(known, created=False)
    folder = read_case_folder(files, kinds_of_catalogue())
    known = known_case(folder)
    if known is not None:
        return ImportResult(known, created=False)
    if before_storing is not None:
        before_storing(len(folder.readings))
    kept = files.zipped()
    stored = describe_folder(sha256=files.sha256, data=kept, now=now)
    with kept_folder(stored=stored, data=kept):
        return _store_once(folder, stored, by, now, confirmed)


def _store_once(
    folder: CheckedFolder,
    stored: StoredFile,
    by: User | None,
    now: datetime,
    confirmed: Collection[BroughtCertificate] | None,
) -> ImportResult:
    """Store in one transaction; begin anew when somebody else took a number or a name meanwhile."""
    for attempt in range(_TRIES):
        try:
            with transaction.atomic():
                return ImportResult(_store(folder, stored, by, now, confirmed), created=True)
        except IntegrityError:
            known = known_case(folder)
            if known is not None:
                return ImportResult(known, created=False)
            if attempt == _TRIES - 1:
                raise
    raise AssertionError("unreachable")


def case_of_files(sha256: str) -> Case | None:
    """The case that these very bytes made."""
    return Case.objects.filter(source__sha256=sha256).order_by("pk").first()


def known_case(folder: CheckedFolder) -> Case | None:
    """The case that these bytes made, perhaps a moment ago; refused under another's reference."""
    try:
        refuse_known_reference(folder.case.reference)
    except CaseFolderRefused:
        # Asked after the refusal, or an import of the same bytes could commit between the two.
        known = case_of_files(folder.files.sha256)
        if known is None:
            raise
        return known
    return case_of_files(folder.files.sha256)


def refuse_known_reference(reference: str) -> None:
    if reference and is_taken(reference):
        allowed = gettext(
            "a reference that no case has yet; this one belongs to a case with other content"
        )
        raise CaseFolderRefused([Fault(CASE, None, "reference", reference, allowed)])


def _store(
    folder: CheckedFolder,
    stored: StoredFile,
    by: User | None,
    now: datetime,
    confirmed: Collection[BroughtCertificate] | None,
) -> Case:
    home = _store_property(folder.case, by)
    stored.pk = None  # an attempt before this one was taken back
    stored.save(force_insert=True)
    source = SourceFile(
        property=home,
        name=folder.files.name[:200],
        stored=stored,
        sha256=folder.files.sha256,
        received_at=now,
        received_by=by,
    )
    source.save()  # the digest is unique: of two imports of the same bytes one ends here
    visits = store_survey(
        home=home, folder=folder, source=source, by=by, now=now, confirmed=confirmed
    )
    stage = _stage_after(visits)
    case = Case(
        reference=folder.case.reference or next_reference(now),
        property=home,
        guideline=Guideline.objects.get(code=folder.case.guideline),
        target_band=folder.case.target_band,
        placement_percent=folder.case.placement_percent,
        stage=stage,
        stage_since=now,
        due_on=due_after(stage, now),
        opened_at=now,
        source=source,
    )
    save_new(case, by, left_to_database=["reference"])
    CaseVisit.objects.bulk_create(CaseVisit(case=case, visit=visit) for visit in visits)
    store_items(case=case, rows=folder.remedies, by=by)
    follow_trials(home=case.property_id)
    index_cases(cases=[case.pk])
    return case


def _store_property(head: CaseFile, by: User | None) -> Property:
    client = Client(name=head.client_name, email=head.email, language=head.language)
    save_new(client, by)
    home = Property(
        client=client,
        address=head.address,
        country=head.country,
        supply_voltage_v=head.supply_voltage_v,
        frequency_hz=head.frequency_hz,
        phases=head.phases,
    )
    save_new(home, by)
    if by is not None and by.role == User.Role.ASSESSOR:
        save_new(Assignment(property=home, user=by), by)  # who brings a survey may go on with it
    return home


def _stage_after(visits: list[Visit]) -> Stage:
    """Imported visits are sealed."""
    facts = {_SEALED[Visit.Kind(visit.kind)] for visit in visits}
    return stage_reached(facts, Stage.ENQUIRY)[0]
