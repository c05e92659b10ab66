"""The office steers a case: opens it, moves it, holds it, hands it over, begins a new round."""

from collections.abc import Mapping, Sequence
from datetime import date, datetime, time, timedelta
from typing import Any
from uuid import UUID

from django.core.exceptions import ValidationError
from django.db import IntegrityError, models, transaction
from django.utils import timezone
from django.utils.translation import gettext as _
from simple_history.utils import bulk_update_with_history

from consult.models import Assignment, Property, User
from consult.models.texts import several_lines
from consult.services.changes import (
    LONGEST_REASON,
    held,
    refuse_overtaken,
    remove_row,
    save_row,
    version_of,
)
from consult.services.entry_keys import digest_of, enter_once
from consult.services.jobs import enqueue
from mitigation.models import DUE_DAYS, ENDS, MOVES, Case, Note, Stage
from mitigation.models.progress import Fact, may_skip_to, skipped, stage_reached
from mitigation.services.enquiries import save_enquiry
from mitigation.services.evidence import follow_evidence
from mitigation.services.progress import facts_of
from mitigation.services.references import is_taken, next_reference
from surveys.models import Guideline, Visit
from surveys.models.references import validate_reference
from surveys.services.assessors import assign_assessor

EDITABLE = ("guideline", "target_band", "placement_percent", "due_on")
SAME_NOTE = timedelta(minutes=10)  # a double click, or a resend after a lost connection
HOLD_OVER = "hold-over"
_TRIES = 20


def due_after(stage: str, now: datetime) -> date | None:
    """The day by which a case that comes to `stage` now should move on."""
    days = DUE_DAYS[stage]
    return None if days is None else timezone.localdate(now) + timedelta(days=days)


@transaction.atomic
def open_case(
    *,
    home: Property,
    guideline: Guideline,
    target_band: int,
    placement_percent: float,
    by: User | None,
    now: datetime,
    reference: str = "",
    key: UUID | None = None,
    enquiry: Mapping[str, Any] | None = None,
) -> Case:
    """Open a case at a property, under the next free reference unless one is given.

    `enquiry` is what the client said when they called.
    """
    judged = {
        "guideline": guideline,
        "target_band": target_band,
        "placement_percent": placement_percent,
    }

    def enter() -> Case:
        case = Case(
            property=home,
            stage=Stage.ENQUIRY,
            stage_since=now,
            due_on=due_after(Stage.ENQUIRY, now),
            opened_at=now,
            **judged,
        )
        case = _under_reference(case, reference, by, now)
        if enquiry is not None:
            save_enquiry(case=case, by=by, now=now, values=enquiry)
        return case

    typed = judged | {"reference": reference, "enquiry": sorted((enquiry or {}).items())}
    digest = digest_of(key, "case", home.pk, typed)
    return enter_once(Case, digest, enter)


def _refuse_unfit(reference: str) -> None:
    """Before the database is asked for it: PostgreSQL takes no zero byte in a question."""
    try:
        validate_reference(reference)
    except ValidationError as error:
        raise ValidationError({"reference": error.messages}) from None


def _under_reference(case: Case, wanted: str, by: User | None, now: datetime) -> Case:
    taken = ValidationError({"reference": _("Another case has this reference.")})
    if wanted:
        _refuse_unfit(wanted)
        if is_taken(wanted):
            raise taken
    for _attempt in range(_TRIES):
        case.reference = wanted or next_reference(now)
        try:
            with transaction.atomic():
                save_row(row=case, by=by)
        except (IntegrityError, ValidationError):
            # Somebody else took the number between our look and our write.
            if not Case.objects.filter(reference=case.reference).exists():
                raise
            if wanted:
                raise taken from None
        else:
            return case
    raise ValidationError(_("No reference was free; please try again."))


@transaction.atomic
def move_case(*, case: Case, to: str, by: User | None, now: datetime, reason: str = "") -> Case:
    """Take a case from the stage that the caller saw to another; the second of two is told.

    Over stages that nothing was done for it goes with a reason alone, which stays as a note.
    """
    seen = case.stage
    if to not in MOVES.get(seen, ()) and to not in may_skip_to(seen):
        raise ValidationError(
            _("A case does not go from “%(old)s” to “%(new)s”.")
            % {"old": _label(seen), "new": _label(to)}
        )
    passed = skipped(seen, to)
    if passed and not reason.strip():
        if held(case).stage != seen:
            raise _moved_meanwhile(case)
        raise ValidationError(_("That skips: %(stages)s. Say why.") % {"stages": words_of(passed)})
    return _move(case, seen, to, by, now, reason)


def words_of(stages: Sequence[Stage]) -> str:
    """Stages as a sentence names them."""
    return ", ".join(str(stage.label) for stage in stages)


@transaction.atomic
def go_on(*, case: Case, by: User | None, now: datetime) -> None:
    """Take a case forward to the stage that what was done leads to; on hold it rests."""
    if case.on_hold_reason:
        return
    facts = facts_of([case.pk], now=now)[case.pk]
    to, fact = stage_reached(set(facts), Stage(case.stage))
    if fact is None:
        return
    # Since it was done, so that a letter issued before a worker came to this is not forgotten.
    passed, why = skipped(case.stage, to), str(Fact(fact).label)
    if passed:
        why = _("%(fact)s; skipped: %(stages)s") % {"fact": why, "stages": words_of(passed)}
    _move(case, case.stage, to, by, facts[fact], why, is_noted=False)


def decline_case(*, case: Case, reason: str, by: User | None, now: datetime) -> Case:
    """End a case without proof; the reason is kept as a note."""
    return move_case(case=case, to=Stage.DECLINED, by=by, now=now, reason=_required(reason))


def reopen_case(*, case: Case, to: str, reason: str, by: User | None, now: datetime) -> Case:
    """Take up a closed or declined case again."""
    if case.stage not in ENDS:
        raise ValidationError(_("Only a closed or declined case can be reopened."))
    return move_case(case=case, to=to, by=by, now=now, reason=_required(reason))


@transaction.atomic
def begin_round(*, case: Case, by: User | None, now: datetime, reason: str) -> Case:
    """Plan once more, because the follow-up did not reach the target everywhere."""
    if case.stage not in (Stage.PROOF, Stage.CLOSED):
        raise ValidationError(_("A new round begins after a proof."))
    extra = {"round": models.F("round") + 1}
    return _move(case, case.stage, Stage.PLAN, by, now, _required(reason), extra)


@transaction.atomic
def hold_case(
    *, case: Case, reason: str, by: User | None, now: datetime, until: date | None = None
) -> Case:
    """Let a case rest, with the reason on its page; on the day after `until` it is due by a job."""
    if case.stage in ENDS:
        raise ValidationError(_("The case has ended, there is nothing to hold."))
    if until is not None and until < timezone.localdate(now):
        raise ValidationError(_("A case is on hold until today or a later day."))
    why = _required(reason)
    Case._meta.get_field("on_hold_reason").run_validators(why)  # an UPDATE looks at no length
    _set_hold(case, "", why, by, {"on_hold_until": until})
    if until is not None:
        enqueue(
            kind=HOLD_OVER,
            key=f"{HOLD_OVER}:{case.pk}:{version_of(case)}",
            arguments={"case": case.pk, "until": until.isoformat()},
            run_after=start_of(until + timedelta(days=1)),
        )
    return case


@transaction.atomic
def resume_case(*, case: Case, by: User | None, now: datetime) -> Case:
    """Go on with a case that was on hold, from what was done meanwhile; its time begins anew."""
    if not case.on_hold_reason:  # somebody was first, and may have set another day since
        raise ValidationError(_("The case is not on hold."))
    _end_hold(case, by, now, due_after(case.stage, now))
    return case


@transaction.atomic
def end_hold(*, case: Case, until: date, now: datetime) -> None:
    """The day of a hold is over: the case is due at once, unless somebody resumed it meanwhile."""
    if case.on_hold_reason and case.on_hold_until == until:
        _end_hold(case, None, now, timezone.localdate(now))


def _end_hold(case: Case, by: User | None, now: datetime, due_on: date | None) -> None:
    _set_hold(case, case.on_hold_reason, "", by, {"due_on": due_on, "on_hold_until": None})
    go_on(case=case, by=by, now=now)


def start_of(day: date) -> datetime:
    """The first moment of a day, by the practice's zone."""
    return timezone.make_aware(datetime.combine(day, time.min))


@transaction.atomic
def edit_case(*, case: Case, seen: int, by: User | None, values: Mapping[str, Any]) -> Case:
    """Change how a case is judged and when it is due, unless somebody else did so meanwhile."""
    locked = held(case)
    for name in EDITABLE:
        if name in values:
            setattr(locked, name, values[name])
    refuse_overtaken(locked, seen)
    save_row(row=locked, by=by, fields=EDITABLE)
    follow_evidence(cases=Case.objects.filter(pk=locked.pk))
    return locked


@transaction.atomic
def hand_over(*, case: Case, to: User, by: User | None, now: datetime, reason: str = "") -> None:
    """Give the property of a case to one assessor, and take it from every other.

    The visits that nobody has begun go with it, or they would wait for somebody who may not come.
    """
    if to.role != User.Role.ASSESSOR or not to.is_active:
        raise ValidationError(_("A case is handed to an assessor who can log in."))
    Property.objects.select_for_update().get(pk=case.property_id)
    for assignment in Assignment.objects.filter(property=case.property).exclude(user=to):
        remove_row(row=assignment, by=by)
    assign_assessor(home=case.property, person=to, by=by)
    for visit in Visit.objects.not_begun().filter(property=case.property).select_for_update():
        if visit.measured_by != to:
            visit.measured_by, visit.assessor = to, to.name
            save_row(row=visit, by=by, fields=["measured_by", "assessor"])
    words = _("Handed over to %(name)s.") % {"name": to.name}
    add_note(case=case, text=f"{words} {reason}".strip(), by=by, now=now)


@transaction.atomic
def add_note(*, case: Case, text: str, by: User | None, now: datetime) -> Note:
    """Write something down for the practice; the same words again at once are the same note."""
    several_lines(text)
    Case.objects.select_for_update().get(pk=case.pk)
    since = now - SAME_NOTE
    same = case.notes.filter(text=text.strip(), written_by=by, written_at__gt=since).first()
    if same is not None:
        return same
    note = Note(case=case, text=text.strip(), written_by=by, written_at=now)
    note.full_clean()
    note.save()
    return note


def _move(
    case: Case,
    seen: str,
    to: str,
    by: User | None,
    now: datetime,
    reason: str,
    extra: Mapping[str, Any] | None = None,
    is_noted: bool = True,
) -> Case:
    """One conditional UPDATE that looks at the old stage; a case on hold does not move."""
    if case.on_hold_reason:
        raise ValidationError(_("The case is on hold. Resume it first."))
    moved = Case.objects.filter(pk=case.pk, stage=seen, on_hold_reason="").update(
        stage=to, stage_since=now, due_on=due_after(to, now), **(extra or {})
    )
    if moved == 0:
        raise _moved_meanwhile(case)
    case.refresh_from_db()
    _remember(case, by, reason)
    if reason and is_noted:
        add_note(case=case, text=f"{_label(to)}: {reason}", by=by, now=now)
    return case


def _set_hold(
    case: Case, seen: str, reason: str, by: User | None, extra: Mapping[str, Any] | None = None
) -> Case:
    held = Case.objects.filter(pk=case.pk, on_hold_reason=seen, stage=case.stage).update(
        on_hold_reason=reason, **(extra or {})
    )
    if held == 0:
        raise _moved_meanwhile(case)
    case.refresh_from_db()
    _remember(case, by, reason)
    return case


def _remember(case: Case, by: User | None, reason: str) -> None:
    """Put a conditional UPDATE into the history, which sees only saves by itself."""
    bulk_update_with_history(
        [case],
        Case,
        [],  # the row is as it should be; this adds the history alone
        default_user=by,
        default_change_reason=reason[:LONGEST_REASON] or None,
    )


def _moved_meanwhile(case: Case) -> ValidationError:
    now = Case.objects.get(pk=case.pk)
    state = _("on hold") if now.on_hold_reason else _label(now.stage)
    return ValidationError(
        _("Somebody else changed this case meanwhile: it is now “%(state)s”. Nothing was done.")
        % {"state": state}
    )


def _label(stage: str) -> str:
    return str(Stage(stage).label) if stage in Stage.values else stage


def _required(reason: str) -> str:
    if not reason.strip():
        raise ValidationError(_("Say why."))
    return reason.strip()
