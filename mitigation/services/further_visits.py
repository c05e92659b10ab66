"""Further visits come into a case by a file: what is new is added, or nothing at all."""

from collections.abc import Callable, Collection, Mapping
from datetime import datetime
from typing import Any

from django.db import transaction
from django.utils.translation import gettext as _

from consult.models import User
from consult.services.jobs import enqueue
from mitigation.models import Case, CaseVisit
from mitigation.services.brought_items import item_contradictions, new_items
from mitigation.services.imports import ImportResult
from mitigation.services.plan_items import kinds_of_catalogue, store_items
from mitigation.services.search import index_cases
from surveys.intake import (
    CaseFolderRefused,
    CheckedFolder,
    Fault,
    Source,
    open_case_folder,
    read_case_folder,
)
from surveys.intake.faults import MOST_SHOWN
from surveys.intake.sources import CASE
from surveys.models import SourceFile, Visit
from surveys.services.brought_certificates import BroughtCertificate
from surveys.services.further_visits import contradictions, new_places, row_keys_of
from surveys.services.imports import store_survey
from surveys.services.kept_files import describe_folder, kept_folder
from surveys.services.row_keys import RowKeys
from surveys.services.visits import VISIT_SEALED


def refuse_contradictions(folder: CheckedFolder, case: Case) -> None:
    """CaseFolderRefused with each cell by which the folder says something else than the case."""
    known_visits = _visits_by_label(case)
    faults = [
        *_of_head(folder, case),
        *contradictions(folder, known_visits, _keys_of(case, known_visits)),
        *item_contradictions(case, folder.remedies),
    ]
    if faults:
        raise CaseFolderRefused(faults[:MOST_SHOWN], len(faults))


def add_further_visits(
    *,
    source: Source,
    into: Case,
    by: User | None,
    now: datetime,
    before_storing: Callable[[int], object] | None = None,
    confirmed: Collection[BroughtCertificate] | None = None,
) -> ImportResult:
    """Enter the visits and items that the case does not have; CaseFolderRefused with each fault.

    `created` tells whether there was one. The same bytes again: nothing happens. The others are as
    in `import_case_folder`.
    """
    files = open_case_folder(source)
    if _came_before(files.sha256, into):
        return ImportResult(into, created=False)
    folder = read_case_folder(files, kinds_of_catalogue())
    if before_storing is not None:
        before_storing(len(folder.readings))
    archive = files.zipped()
    stored = describe_folder(sha256=files.sha256, data=archive, now=now)
    with kept_folder(stored=stored, data=archive), transaction.atomic():
        case = Case.objects.select_for_update().get(pk=into.pk)
        list(case.visits.select_for_update(of=("self",)).order_by("pk").values("pk"))
        refuse_contradictions(folder, case)
        known_visits = _visits_by_label(case)
        if not new_places(folder.visits, known_visits) and not new_items(case, folder.remedies):
            return ImportResult(case, created=False)
        stored.save(force_insert=True)
        came_in = SourceFile.objects.create(
            property=case.property, name=files.name[:200], stored=stored,
            sha256=files.sha256, received_at=now, received_by=by,
        )  # fmt: skip
        visits = store_survey(
            home=case.property, folder=folder, source=came_in, by=by, now=now,
            confirmed=confirmed, keys=_keys_of(case, known_visits), known_visits=known_visits,
        )  # fmt: skip
        store_items(case=case, rows=folder.remedies, by=by)
        _join(case, visits)
    return ImportResult(case, created=True)


def _visits_by_label(case: Case) -> dict[str, Visit]:
    return {visit.label: visit for visit in case.visits.all()}


def _keys_of(case: Case, known_visits: Mapping[str, Visit]) -> RowKeys:
    """The keys under which the rows of the case came in."""
    sources = SourceFile.objects.filter(visits__cases=case).order_by("pk").distinct()
    return row_keys_of(known_visits, _references(case), sources.values_list("sha256", flat=True))


def _references(case: Case) -> list[str]:
    """The reference of a case, and those that it had."""
    return [case.reference, *case.former_references.values_list("reference", flat=True)]


def _came_before(sha256: str, case: Case) -> bool:
    """Whether these very bytes brought something in; refused where it was into another case."""
    source = SourceFile.objects.filter(sha256=sha256).first()
    if source is None:
        return False
    if source.property_id != case.property_id:
        allowed = _("files that made no other case; these made one already")
        raise CaseFolderRefused([Fault(CASE, None, None, None, allowed)])
    return True


def _of_head(folder: CheckedFolder, case: Case) -> list[Fault]:
    """What the head of the folder says otherwise than the case."""
    head, home = folder.case, case.property
    values: dict[str, tuple[Any, Any]] = {
        "client.name": (head.client_name, home.client.name),
        "property.address": (head.address, home.address),
        "property.country": (head.country, home.country),
        "property.supply_voltage": (head.supply_voltage_v, home.supply_voltage_v),
        "property.frequency": (head.frequency_hz, home.frequency_hz),
        "property.phases": (head.phases, home.phases),
        "assessment.guideline": (head.guideline, case.guideline.code),
        "assessment.target": (head.target_band, case.target_band),
        "assessment.placement_percent": (head.placement_percent, case.placement_percent),
    }
    if head.reference and head.reference not in _references(case):
        values["reference"] = (head.reference, case.reference)
    words = _("%(value)s, as case %(case)s has it")
    return [
        Fault(CASE, None, name, str(cell), words % {"value": value, "case": case.reference})
        for name, (cell, value) in values.items()
        if cell != value
    ]


def _join(case: Case, visits: list[Visit]) -> None:
    """The new visits belong to the case, and lead it to where sealed ones of their kind do."""
    CaseVisit.objects.bulk_create(
        CaseVisit(case=case, visit=visit, round=case.round) for visit in visits
    )
    index_cases(cases=[case.pk])
    for visit in visits:
        enqueue(kind=VISIT_SEALED, key=f"{VISIT_SEALED}:{visit.pk}", arguments={"visit": visit.pk})
