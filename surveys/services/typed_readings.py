"""What a typed reading is held to, and the calibration that it was read under."""

from collections.abc import Iterable
from datetime import datetime

from django.core.exceptions import ValidationError
from django.utils import timezone
from django.utils.translation import gettext as _

from surveys.calc.hours import time_of
from surveys.intake.cells import is_plausible
from surveys.intake.readings import DISTANCES
from surveys.models import Calibration, Instrument, Measurand, Reading
from surveys.models.displays import AXES, CELLS
from surveys.results.certificates import Register
from surveys.services.sources import main_switch_is_off, refuse_wrong_names

TYPED = frozenset(
    {"spot", "measurand", "ground_point", "instrument", "unit", "state", "circuits_off",
     "taken_at_text", "height_m", "body_distance_m", "surface_distance_m", "load", "note", *CELLS,
     *(f"{axis}_mark" for axis in CELLS)}
)  # fmt: skip


def hold_instruments(keys: Iterable[int]) -> None:
    """Lock instruments until the transaction ends: what is known of them stays as it is.

    Always in the same order, and after the visit, so that no two wait for each other.
    """
    rows = Instrument.objects.select_for_update(no_key=True).order_by("pk")
    list(rows.filter(pk__in=set(keys)).values_list("pk", flat=True))


def refuse_wrong(reading: Reading) -> None:
    """Refuse what a case folder would refuse."""
    refuse_wrong_names(reading.circuits_off)
    faults = _cell_faults(reading)
    home = reading.visit.property_id
    if reading.spot.room.property_id != home:
        faults["spot"] = _("This spot is not of this property.")
    if reading.ground_point is not None and reading.ground_point.property_id != home:
        faults["ground_point"] = _("This ground point is not of this property.")
    units = Measurand(reading.measurand).units
    if reading.unit not in units:
        faults["unit"] = _("%(units)s for this quantity.") % {"units": ", ".join(units)}
    if reading.calibration is None:
        faults["instrument"] = _("The register has no row of this instrument for this quantity.")
    if faults:
        raise ValidationError(faults)


def calibration_of_the_day(reading: Reading) -> Calibration | None:
    """What the register has for the instrument, the quantity and the day of the visit."""
    rows = Calibration.objects.filter(instrument=reading.instrument_id)
    return Register(rows).on(
        reading.visit.date,
        instrument=reading.instrument_id,
        quantity=Measurand(reading.measurand).quantity,
    )


def tell(reading: Reading) -> None:
    """What follows from the texts of a reading: when it was, and whether everything was off."""
    reading.taken_at = time_taken(reading)
    reading.main_switch_off = main_switch_is_off(reading.circuits_off)


def time_taken(reading: Reading) -> datetime | None:
    """When the meter was read, by the practice's clock, where the typed hour tells it."""
    zone = timezone.get_default_timezone()
    return time_of(reading.taken_at_text, reading.visit.date, zone)


def _cell_faults(reading: Reading) -> dict[str, str]:
    """Either a total, or one to three axes; nothing negative, and nothing under 0."""
    faults = {}
    for name in (*CELLS, *DISTANCES):
        value = getattr(reading, name)
        if value is not None and not 0 <= value < float("inf"):
            faults[name] = _("A number of 0 or more.")
        elif value is not None and not is_plausible(value):
            faults[name] = _("A number that a meter can show.")
        elif value == 0 and getattr(reading, f"{name}_mark", "") == "<":
            faults[name] = _("Nothing is under 0.")
    axes = any(getattr(reading, axis) is not None for axis in AXES)
    if axes and reading.total is not None:
        faults["total"] = _("Either a total or axes, not both.")
    if not axes and reading.total is None:
        faults["total"] = _("A total, or one to three axes.")
    return faults
