"""What cases hold of people, and when a case stands in the way of an erasure."""

from collections.abc import Iterable
from datetime import date, datetime, timedelta
from typing import Any

from django.db.models import Count, Max, Q
from django.utils import timezone
from django.utils.formats import date_format
from django.utils.translation import gettext_lazy as _

from consult.models import Client, Retention
from consult.services.privacy.fates import (
    Blank,
    Clearing,
    Keys,
    Obstacle,
    Overdue,
    Part,
    Subject,
    Table,
    fields,
    nobodys,
    stored_key,
)
from mitigation.models.attachments import Attachment
from mitigation.models.cases import Case
from mitigation.models.stages import ENDS
from mitigation.models.uploads import PendingUpload
from surveys.models.uids import RandomUid


def kept_until(ended: datetime, years: int) -> date:
    """The day on which a case that ended then may go."""
    day = timezone.localdate(ended)
    try:
        return day.replace(year=day.year + years)
    except ValueError:  # 29 February
        return date(day.year + years, 3, 1)


def _uploads(subject: Subject, keys: Keys) -> Iterable[Any]:
    """Those of their cases, and every one that made no case yet: nobody can tell whose it is."""
    ready = PendingUpload.objects.exclude(state__in=MOVING)
    for pk, case in ready.values_list("pk", "case"):
        if case is None or case in keys["mitigation.Case"]:
            yield pk


def _attachment_name(row: Any) -> str:
    return f"files/{row.pk}-{row.name}"


MOVING = (PendingUpload.State.CHECKING, PendingUpload.State.IMPORTING)

TABLES = [
    Table(
        "mitigation.Case",
        _("cases"),
        fields(
            plain="id property guideline target_band placement_percent stage stage_since round "
            "due_on opened_at",
            reference=Blank("erased-{pk}"),
            on_hold_reason=Blank(),
            on_hold_until=Blank(None),
            source=Blank(None),
        ),
        client="property",
        without=_("reference, why it was on hold and until when, the file it came in"),
    ),
    Table(
        "mitigation.Enquiry",
        _("enquiries"),
        fields(goes="id case reason sleepers fitted wishes heard_of_us"),
        client="case",
    ),
    Table(
        "mitigation.FormerReference",
        _("former references of cases"),
        fields(goes="id case reference folded"),
        client="case",
    ),
    nobodys("mitigation.CaseVisit", _("visits of cases"), "id case visit round"),
    Table(
        "mitigation.CaseWord", _("words of the search"), fields(goes="id case word"), client="case"
    ),
    Table(
        "mitigation.Outcome",
        _("frozen comparisons"),
        fields(goes="id case baseline follow_up result letter created_at"),
        client="case",
    ),
    Table(
        "mitigation.CaseLetter",
        _("letters of cases"),
        fields(goes="id case letter"),
        client="letter",
    ),
    Table(
        "mitigation.LetterDraft",
        _("drafts of letters"),
        fields(
            goes="id case uid kind content content_sha256 asked_by asked_at expires_at state stored"
        ),
        client="case",
        file=stored_key,
        file_name=lambda row: f"drafts/{row.pk}.pdf",
    ),
    nobodys(
        "mitigation.Remedy",
        _("kinds of remedies"),
        "id key name acts_on is_electric is_magnetic effect_db spread_db works_percent done_by "
        "instructions price is_retired",
    ),
    Table(
        "mitigation.PlanItem",
        _("items of plans"),
        fields(
            plain="id case position remedy room effect_db spread_db works_percent cost is_chosen "
            "state done_on",
            name=Blank("[item {pk}]"),
            done_by=Blank(),
            note=Blank(),
            uid=Blank(RandomUid()),
        ),
        client="case",
        without=_("its name, who did it, notes"),
    ),
    Table(
        "mitigation.TrialFit",
        _("what trials say of sources"),
        fields(
            plain="id visit spot measurand digest rule is_misfit model_error checkable draws "
            "made_at",
            names=Blank([]),
        ),
        client="visit",
        without=_("the names of circuits"),
    ),
    Table(
        "mitigation.Plan",
        _("offered plans"),
        fields(
            plain="id case number content_sha256 valid_until offered_at offered_by replaced_at",
            content=Blank({}),
            letter=Blank(None),
        ),
        client="case",
        without=_("its words"),
    ),
    nobodys(
        "mitigation.Prediction",
        _("what plans promise"),
        "id plan option spot measurand basis limit before median low high probability overall",
    ),
    Table(
        "mitigation.Decision",
        _("decisions on plans"),
        fields(
            plain="id plan answer option content_sha256 way decided_by decided_at",
            items=Blank([]),
            name=Blank("[erased]"),
            words=Blank(),
        ),
        client="plan",
        without=_("who decided, remarks"),
    ),
    nobodys(
        "mitigation.CaseEvidence",
        _("what the evidence of a case rests on"),
        "id case digest rules made_at",
    ),
    nobodys(
        "mitigation.KeptEffect",
        _("what remedies did"),
        "id case remedy group n_rows effect variance left_out",
    ),
    nobodys(
        "mitigation.KeptPromise",
        _("how predictions did"),
        "id case prediction after inside probability met ln_ratio",
    ),
    Table(
        "mitigation.PlanDraft",
        _("kept versions of plans"),
        fields(goes="id case name items rows made_by made_at uid"),
        client="case",
    ),
    nobodys("mitigation.PlanItem_circuits", _("circuits of items"), "id planitem circuit"),
    nobodys("mitigation.PlanItem_appliances", _("appliances of items"), "id planitem appliance"),
    nobodys("mitigation.PlanItem_spots", _("spots of items"), "id planitem spot"),
    Table(
        "mitigation.WorkOrder",
        _("work orders"),
        fields(
            plain="id case number firm plan due_on agreed_at state content_sha256 made_at made_by "
            "sent_at sent_by seen_at taken_at refused_at charged",
            access=Blank(),
            contact=Blank(),
            wished_days=Blank(),
            words=Blank(),
            licence_reason=Blank(),
            answered_by=Blank(),
            refusal=Blank(),
            content=Blank({}),
            letter=Blank(None),
            uid=Blank(RandomUid()),
        ),
        client="case",
        without=_("how to get in, the contact on site, its words"),
    ),
    nobodys(
        "mitigation.WorkOrder_documents",
        _("documents of orders"),
        "id workorder attachment",
    ),
    Table(
        "mitigation.Appointment",
        _("appointments of firms"),
        fields(
            plain="id order side asked minutes state proposed_at proposed_by answered_at "
            "answered_by starts_at ends_at sequence ended_at",
            proposed_name=Blank("[erased]"),
            answered_name=Blank(),
            reason=Blank(),
        ),
        client="order",
        without=_("who proposed and answered, and why it was declined or called off"),
    ),
    nobodys("mitigation.ProposedTime", _("proposed times"), "id appointment starts_at"),
    Table(
        "mitigation.CalendarFeed",
        _("calendar feeds"),
        fields(goes="id user uid made_at"),
        user="user",
        withheld={"uid": _("it would open the calendar")},
    ),
    Table(
        "mitigation.WorkItem",
        _("items of orders"),
        fields(plain="id order item position", words=Blank()),
        client="order",
        without=_("what to see to"),
    ),
    Table(
        "mitigation.WorkReport",
        _("reports on orders"),
        fields(
            plain="id order number began_at began_by signed_at signed_by order_sha256 accepted_at "
            "accepted_by returned_at returned_by",
            reason=Blank(),
            remark=Blank(),
            signed_name=Blank("[erased]"),
            licence=Blank(),
            letter=Blank(None),
            return_reason=Blank(),
        ),
        client="order",
        without=_("who signed, with which licence, remarks"),
    ),
    Table(
        "mitigation.WorkResult",
        _("how items of orders ended"),
        fields(plain="id report work_item result done_on", words=Blank("[erased]")),
        client="report",
        without=_("the firm's words"),
    ),
    Table(
        "mitigation.TestValue",
        _("test values of firms"),
        fields(
            plain="id report work_item test value qualifier passed test_voltage_v device rated_ma "
            "instrument is_missed",
            about=Blank(),
            remark=Blank(),
            uid=Blank(RandomUid()),
        ),
        client="report",
        without=_("circuit or point, remarks"),
    ),
    Table(
        "mitigation.WorkPhoto",
        _("photos in reports"),
        fields(goes="id report work_item attachment"),
        client="report",
    ),
    nobodys(
        "mitigation.TestInstrument",
        _("test instruments of firms"),
        "id firm name serial calibrated_until",
    ),
    Table(
        "mitigation.WorksConfirmation",
        _("what clients said of works"),
        fields(goes="id case items name words confirmed_at confirmed_by uid"),
        client="case",
    ),
    Table(
        "mitigation.Note",
        _("notes"),
        fields(goes="id case text written_by written_at"),
        client="case",
    ),
    Table(
        "mitigation.Attachment",
        _("attached files"),
        fields(
            goes="id case name given_sha256 stored state refusal width height small is_sketch "
            "sketch added_by added_at"
        ),
        client="case",
        withheld={
            "small": _("it is the attached picture, made small"),
            "sketch": _("it is the attached picture, made small"),
        },
        file=stored_key,
        file_name=_attachment_name,
        leftovers=lambda row: [row.given_key(), row.clean_key()],
    ),
    Table(
        "mitigation.PendingUpload",
        _("uploads that wait"),
        fields(
            goes="id token owner name file size received_at expires_at state step n_readings "
            "content_sha256 preview confirmed_at into case failure certificates times_returned "
            "decision decided_by decided_at decision_reason"
        ),
        client=_uploads,
        user="owner",
        not_copied=_("nobody can tell whose data wait there"),
        file=lambda row: str(row.file),
    ),
]


def obstacles(subject: Subject, keys: Keys, now: datetime) -> Iterable[Obstacle]:
    """Open cases, uploads at work, and cases whose time is not over."""
    cases = Case.objects.filter(pk__in=keys["mitigation.Case"]).order_by("pk")
    for case in cases.exclude(stage__in=ENDS):
        yield Obstacle(
            _("Case %(case)s is open. Close or decline it first.") % {"case": case.reference}
        )
    files = Attachment.objects.filter(pk__in=keys["mitigation.Attachment"])
    if files.filter(state=Attachment.State.CLEANING).exists():
        yield Obstacle(_("A picture is being cleaned at this moment. Wait until it is done."))
    if subject.clients and PendingUpload.objects.filter(state__in=MOVING).exists():
        yield Obstacle(_("An upload is being checked or imported. Wait until it is done."))
    years = Retention.current().case_years
    for case in cases.filter(stage__in=ENDS):
        until = kept_until(case.stage_since, years)
        if timezone.localdate(now) < until:
            words = _("Case %(case)s is to be kept until %(day)s.")
            values = {"case": case.reference, "day": date_format(until)}
            yield Obstacle(words % values, may_override=True)
    theirs = Case.objects.filter(property__assignments__user__in=subject.users)
    if not subject.clients and theirs.exclude(stage__in=ENDS).exists():
        yield Obstacle(
            _("Open cases are assigned to this person. Hand them over first."), may_override=True
        )


def overdue(now: datetime) -> list[Overdue]:
    """Clients whose cases all ended longer ago than they are kept, the oldest first."""
    years = Retention.current().case_years
    homes = Client.objects.present().filter(properties__cases__isnull=False)
    going_on = ~Q(properties__cases__stage__in=ENDS)
    ended = homes.annotate(
        n_open=Count("properties__cases", filter=going_on, distinct=True),
        n_cases=Count("properties__cases", distinct=True),
        last=Max("properties__cases__stage_since"),
    )
    today = timezone.localdate(now)
    old: Any = ended.filter(n_open=0, last__lte=now - timedelta(days=365 * years))
    closed = [
        Overdue(client, client.n_cases, kept_until(client.last, years))
        for client in old.order_by("last", "pk")
    ]
    return [overdue for overdue in closed if overdue.since <= today]


PART = Part(
    TABLES,
    clearings=[
        Clearing(
            kind="uploads",
            label=_("uploads that nobody confirmed"),
            model="mitigation.PendingUpload",
            date="expires_at",
            days=0,
            only=~Q(state__in=MOVING),
            file="file",
        ),
    ],
    obstacles=obstacles,
    overdue=overdue,
)
