"""Registers: instruments with their certificates, and guidelines of the practice's own."""

from collections.abc import Mapping, Sequence
from typing import Any
from uuid import UUID

from django.core.exceptions import ValidationError
from django.db import models, transaction
from django.utils.translation import gettext as _

from consult.models import User
from consult.services.changes import held, refuse_overtaken, remove_row
from consult.services.entry_keys import digest_of, enter_once
from surveys.models import Band, Calibration, Guideline, Instrument, Measurand, Quantity
from surveys.services.certificate_contents import clash_of
from surveys.services.entries import save_row
from surveys.services.typed_readings import hold_instruments


def may_change_registers(user: User) -> bool:
    """Whether somebody may add instruments and certificates, or confirm those that others bring."""
    return user.role == User.Role.OFFICE


@transaction.atomic
def add_instrument(
    *, by: User, name: str, maker: str = "", serial: str = "", key: UUID | None = None
) -> Instrument:
    """A new meter of the practice."""

    def enter() -> Instrument:
        instrument = Instrument(**typed)
        save_row(instrument, by)
        return instrument

    typed = {"name": name, "maker": maker, "serial": serial}
    return enter_once(Instrument, digest_of(key, "instrument", None, typed), enter)


@transaction.atomic
def change_instrument(
    *,
    instrument: Instrument,
    by: User,
    name: str,
    maker: str,
    serial: str,
    is_retired: bool,
    version: int | None = None,
) -> Instrument:
    """Another label, maker or serial number; a retired meter is offered for no new reading.

    `version` is the one that the form was opened with.
    """
    row = held(instrument)
    row.name, row.maker, row.serial, row.is_retired = name, maker, serial, is_retired
    refuse_overtaken(row, version)
    save_row(row, by)
    return row


@transaction.atomic
def add_calibration(
    *, instrument: Instrument, by: User, key: UUID | None = None, **given: Any
) -> Calibration:
    """A certificate, or what is known of an instrument without one."""
    hold_instruments([instrument.pk])

    def enter() -> Calibration:
        row = Calibration(instrument=instrument, **given)
        _check(row)
        save_row(row, by)
        return row

    return enter_once(Calibration, digest_of(key, "certificate", instrument.pk, given), enter)


@transaction.atomic
def change_calibration(
    *, calibration: Calibration, by: User, version: int | None = None, **given: Any
) -> Calibration:
    """Put right a certificate on which no sealed reading stands.

    `version` is the one that the form was opened with.
    A seal holds the instruments of its readings, so it comes before this change or after it.
    """
    hold_instruments([calibration.instrument_id])
    row = held(calibration)
    if is_fixed(row):
        raise ValidationError(
            _("Sealed readings stand on this certificate. It cannot be changed; add a new one.")
        )
    was = row.quantity
    for name, value in given.items():
        setattr(row, name, value)
    refuse_overtaken(row, version)
    if row.quantity != was and row.readings.exists():
        raise ValidationError({"quantity": _("Readings stand on it: the quantity stays.")})
    _check(row)
    save_row(row, by)
    return row


def is_fixed(calibration: Calibration) -> bool:
    """Whether a sealed reading stands on it."""
    return calibration.readings.filter(visit__sealed_at__isnull=False).exists()


def _check(row: Calibration) -> None:
    """The checks of a row of instruments.csv."""
    faults: dict[str, str] = {}
    units = Quantity(row.quantity).units
    if row.unit not in units:
        faults["unit"] = _("%(units)s for this quantity.") % {"units": ", ".join(units)}
    for name in ("gain_percent", "noise", "floor", "ceiling", "low_hz", "high_hz"):
        if (getattr(row, name) or 0) < 0:
            faults[name] = _("A number of 0 or more.")
    if row.resolution is not None and row.resolution <= 0:
        faults["resolution"] = _("A number above 0.")
    for low, high in (("floor", "ceiling"), ("low_hz", "high_hz")):
        below, above = getattr(row, low), getattr(row, high)
        if below is not None and above is not None and above <= below:
            faults[high] = _("A number above the lower end.")
    if row.calibrated_on and row.due_on and row.due_on < row.calibrated_on:
        faults["due_on"] = _("A day not before that of the calibration.")
    same = Calibration.objects.filter(
        instrument=row.instrument_id, quantity=row.quantity, calibrated_on=row.calibrated_on
    )
    if same.exclude(pk=row.pk).exists():
        faults["calibrated_on"] = _("There is a row of this instrument, quantity and day already.")
    if clash := clash_of(row):
        faults["certificate"] = clash
    if faults:
        raise ValidationError(faults)


@transaction.atomic
def add_guideline(
    *,
    by: User,
    code: str,
    title: str,
    source: str,
    bounds: Mapping[str, Sequence[float]],
    band_names: Sequence[str],
    note: str = "",
    key: UUID | None = None,
) -> Guideline:
    """A table of the practice's own: bounds b1 < b2 < b3 in four measurands, with its source."""
    head = {"code": code, "title": title, "source": source, "note": note}

    def enter() -> Guideline:
        _check_bounds(bounds)
        guideline = Guideline(**head)
        save_row(guideline, by)
        _add_bands(guideline, by, bounds, band_names)
        return guideline

    typed = head | {"bounds": bounds, "band_names": band_names}
    return enter_once(Guideline, digest_of(key, "guideline", None, typed), enter)


def _add_bands(
    guideline: Guideline,
    by: User,
    bounds: Mapping[str, Sequence[float]],
    band_names: Sequence[str],
) -> None:
    for measurand in Measurand:
        for number, (upper, name) in enumerate(
            zip((*bounds[measurand], None), band_names, strict=True), start=1
        ):
            band = Band(
                guideline=guideline, measurand=measurand, number=number, upper=upper, name=name
            )
            save_row(band, by)


def _check_bounds(bounds: Mapping[str, Sequence[float]]) -> None:
    faults = {}
    for measurand in Measurand:
        if len(bounds.get(measurand, ())) != 3:
            faults[measurand.value] = _("Three bounds.")
            continue
        first, second, third = bounds[measurand]
        if not 0 < first < second < third:
            faults[measurand.value] = _("Three numbers above 0, each above the one before.")
    if faults:
        raise ValidationError(faults)


@transaction.atomic
def remove_guideline(*, guideline: Guideline, by: User) -> None:
    """Take away a guideline of the practice's own that no case is judged by."""
    row = Guideline.objects.select_for_update().get(pk=guideline.pk)
    if row.is_built_in:
        raise ValidationError(_("A built-in guideline stays as it is."))
    try:
        remove_row(row=row, by=by)
    except models.ProtectedError as error:
        raise ValidationError(_("Cases are judged by this guideline; it stays.")) from error
