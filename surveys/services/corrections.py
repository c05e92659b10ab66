"""What was wrong in a sealed visit: put right by a row more, with who, when and why.

The sealed reading stays as it is and counts no more. Another reading of the same spot and quantity
stands in its place, or none does. Only the newest reading of such a chain can be corrected.
"""

from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import Any
from uuid import UUID

from django.core.exceptions import ValidationError
from django.db import models, transaction
from django.utils.translation import gettext as _

from consult.models import User
from consult.services.changes import held
from consult.services.entry_keys import digest_of, enter_once
from consult.services.jobs import enqueue
from surveys.models import Calibration, Correction, Measurand, Reading, Visit
from surveys.services.entries import known_names, save_row
from surveys.services.sources import link_sources
from surveys.services.trial_changes import follow_trials
from surveys.services.typed_readings import (
    TYPED,
    calibration_of_the_day,
    hold_instruments,
    refuse_wrong,
    tell,
)

CORRECTED = TYPED - {"spot", "measurand"}
READING_CORRECTED = "reading-corrected"


@transaction.atomic
def correct_sealed_reading(
    *,
    reading: Reading,
    by: User,
    now: datetime,
    reason: str,
    key: UUID | None = None,
    **typed: Any,
) -> Reading:
    """Another reading in the place of a sealed one: what the display really showed."""
    known_names(typed, CORRECTED)
    visit = held(reading.visit)

    def enter() -> Reading:
        _refuse_open(visit)
        row = Reading.objects.get(pk=reading.pk)
        _refuse_replaced(row)
        why = _why(reason)
        new = _place_of(row, visit)
        for name, value in typed.items():
            setattr(new, name, value)
        new.calibration = _calibration(new, visit)
        tell(new)
        refuse_wrong(new)
        save_row(new, by)
        link_sources(readings=[new], home=visit.property_id)
        correction = Correction(reading=row, replacement=new, reason=why, made_by=by, made_at=now)
        _add(correction)
        _follow(correction, visit)
        return new

    digest = digest_of(key, "correction", reading.pk, typed | {"reason": reason})
    return enter_once(Reading, digest, enter)


@transaction.atomic
def set_aside_sealed_reading(
    *, reading: Reading, by: User, now: datetime, reason: str, key: UUID | None = None
) -> Correction:
    """A sealed reading that never should have counted: it stays, and why is written beside it."""
    visit = held(reading.visit)

    def enter() -> Correction:
        _refuse_open(visit)
        row = Reading.objects.get(pk=reading.pk)
        _refuse_replaced(row)
        if row.set_aside or row.corrections.exists():
            raise ValidationError(_("This reading is set aside already."))
        correction = Correction(reading=row, reason=_why(reason), made_by=by, made_at=now)
        _add(correction)
        _follow(correction, visit)
        return correction

    digest = digest_of(key, "set aside", reading.pk, {"reason": reason})
    return enter_once(Correction, digest, enter)


def _follow(correction: Correction, visit: Visit) -> None:
    """What follows for a case is a job, because surveys know no cases."""
    key = f"{READING_CORRECTED}:{correction.pk}"
    enqueue(kind=READING_CORRECTED, key=key, arguments={"visit": visit.pk})
    if correction.reading.state == Reading.State.TRIAL:
        follow_trials(home=visit.property_id)


def corrections_at(visits: Sequence[Visit]) -> list[Correction]:
    """All that was put right at some visits, in the order of the corrections, in one query."""
    rows = Correction.objects.filter(reading__visit__in=visits).select_related(
        "reading__spot__room", "replacement", "made_by"
    )
    return list(rows.order_by("pk"))


def set_aside_words(corrections: Sequence[Correction], corrected: str) -> dict[int, str]:
    """Why each sealed reading counts no more; `corrected` is the word before a correction's reason.

    Of a reading that was first set aside and then replaced the later word holds.
    """
    return {
        correction.reading_id: f"{corrected}: {correction.reason}"
        if correction.replacement_id
        else correction.reason
        for correction in corrections
    }


def chain_of(reading: Reading, corrections: Sequence[Correction]) -> list[Reading]:
    """The readings that stand for one another, from the sealed one to the newest."""
    onward: Mapping[int, Reading] = {
        correction.reading_id: correction.replacement
        for correction in corrections
        if correction.replacement is not None
    }
    back = {
        correction.replacement_id: correction.reading
        for correction in corrections
        if correction.replacement_id
    }
    chain = [reading]
    while chain[0].pk in back:
        chain.insert(0, back[chain[0].pk])
    while chain[-1].pk in onward:
        chain.append(onward[chain[-1].pk])
    return chain


def _refuse_open(visit: Visit) -> None:
    if visit.sealed_at is None:
        raise ValidationError(_("The visit is still open: change the reading itself."))


def _refuse_replaced(reading: Reading) -> None:
    newer = reading.corrections.filter(replacement__isnull=False).first()
    if newer is not None:
        raise ValidationError(
            _("Reading %(number)s stands in the place of this one already. Correct that one.")
            % {"number": newer.replacement.position}  # type: ignore[union-attr]  # filtered above
        )


def _why(reason: str) -> str:
    words = reason.strip()
    if not words:
        raise ValidationError({"reason": _("Say what was wrong, and how you know.")})
    return words


def _place_of(row: Reading, visit: Visit) -> Reading:
    """A reading at the end of the visit, of the same spot and quantity."""
    last = visit.readings.aggregate(last=models.Max("position"))["last"]
    return Reading(visit=visit, position=last + 1, spot=row.spot, measurand=row.measurand)


def _calibration(reading: Reading, visit: Visit) -> Calibration | None:
    """What the instrument was good for at this visit; a certificate entered later changes nothing.

    An instrument that read nothing of this quantity there gets what the register has for the day.
    """
    hold_instruments([reading.instrument_id])
    same_meter = visit.readings.filter(
        instrument=reading.instrument_id,
        calibration__quantity=Measurand(reading.measurand).quantity,
    ).select_related("calibration")
    first = same_meter.order_by("position").first()
    return first.calibration if first else calibration_of_the_day(reading)


def _add(correction: Correction) -> None:
    correction.full_clean()
    correction.save()
