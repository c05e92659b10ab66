"""What a follow-up has to repeat, so that its readings can be set beside the baseline's.

And what is said before a seal, because nothing can be read afterwards.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

from django.db.models import QuerySet
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from consult.letters.words import spot_name
from surveys.models import (
    Calibration,
    GroundPoint,
    Instrument,
    Measurand,
    Reading,
    Spot,
    Visit,
)
from surveys.models.measurands import measurand_words
from surveys.results.certificates import Register
from surveys.results.grounds import UNTRIED, ground_states

Key = tuple[int, str, int | None, int]


@dataclass(frozen=True)
class RowToRead:
    """A spot and quantity of a visit: how it was read before, and whether it has been read."""

    spot: Spot
    measurand: str = ""  # empty: nobody has said yet what is read there
    ground_point: GroundPoint | None = None
    instrument: Instrument | None = None
    load: str = ""  # what was running, which a follow-up should have running too
    done: bool = False
    has_total: bool = False  # the meter showed a total, not axes

    def choices(self) -> dict[str, Any]:
        """What the form of a reading is filled with."""
        chosen = {
            "spot": self.spot.pk,
            "measurand": self.measurand,
            "ground_point": self.ground_point and self.ground_point.pk,
            "instrument": self.instrument and self.instrument.pk,
        }
        return {name: value for name, value in chosen.items() if value}


def baseline_of(visit: Visit) -> Visit | None:
    """The visit that a follow-up repeats: the latest sealed baseline up to its day."""
    if visit.kind == Visit.Kind.BASELINE:
        return visit
    return (
        Visit.objects.filter(
            property=visit.property_id,
            kind=Visit.Kind.BASELINE,
            sealed_at__isnull=False,
            date__lte=visit.date,
        )
        .order_by("date", "-position", "-pk")
        .last()
    )


def repeatable(visit: Visit) -> QuerySet[Visit]:
    """The sealed visits of the home up to its day, whose rows it may read again; latest first."""
    sealed = Visit.objects.filter(
        property=visit.property_id, sealed_at__isnull=False, date__lte=visit.date
    )
    return sealed.exclude(pk=visit.pk).order_by("-date", "position", "pk")


def to_repeat(visit: Visit, pattern: Visit) -> list[RowToRead]:
    """One row for each spot, measurand, ground point and instrument that `pattern` has read.

    Trials and readings that were set aside or corrected need no second time. `done` tells what
    `visit` has already.
    """
    done = set() if visit == pattern else {_key(row) for row in _counted(visit)}
    read: dict[Key, list[Reading]] = {}
    for row in _counted(pattern):
        read.setdefault(_key(row), []).append(row)
    return [
        RowToRead(
            spot=rows[0].spot,
            measurand=rows[0].measurand,
            ground_point=rows[0].ground_point,
            instrument=rows[0].instrument,
            load="; ".join(dict.fromkeys(row.load for row in rows if row.load)),
            done=key in done,
            has_total=rows[0].total is not None,
        )
        for key, rows in read.items()
    ]


def to_read(visit: Visit, pattern: Visit | None) -> list[RowToRead]:
    """What an open visit has to read: what another visit has, or every spot in every quantity.

    The quantities of a baseline are those that it has read anywhere so far.
    """
    if pattern is not None and pattern != visit:
        return to_repeat(visit, pattern)
    rows = _counted(visit)
    latest_by_measurand: dict[str, Reading | None] = {row.measurand: row for row in rows}
    if not latest_by_measurand:
        latest_by_measurand = {"": None}
    read = {(row.spot_id, row.measurand) for row in rows}
    spots = Spot.objects.filter(room__property=visit.property_id).select_related("room")
    return [
        RowToRead(
            spot=spot,
            measurand=measurand,
            ground_point=last.ground_point if last else None,
            instrument=last.instrument if last else None,
            done=(spot.pk, measurand) in read,
            has_total=last is not None and last.total is not None,
        )
        for spot in spots.order_by("room__name", "pk")
        for measurand, last in latest_by_measurand.items()
    ]


def cautions_before_sealing(visit: Visit, baseline: Visit | None) -> list[str]:
    """What forbids no seal, but leaves the comparison without an answer."""
    rows = _counted(visit)
    return [
        *_on_faulty_ground(visit, rows),
        *_not_read_again(visit, baseline, rows),
        *_out_of_calibration(visit, rows),
        *_not_counted(visit),
    ]


def _on_faulty_ground(visit: Visit, rows: Sequence[Reading]) -> Iterator[str]:
    """Readings on a ground point that was found faulty, one sentence for each point."""
    states = ground_states(visit.ground_checks.select_related("point", "other_point"))
    on_point: dict[GroundPoint, list[str]] = {}
    for row in rows:
        point = row.ground_point
        if point is not None and states.get((visit.pk, point.pk), UNTRIED).fault:
            on_point.setdefault(point, []).append(str(row.spot))
    for point, spots in on_point.items():
        yield _(
            "Ground point %(point)s was found faulty. What was read against it proves nothing: "
            "%(spots)s."
        ) % {"point": point, "spots": "; ".join(dict.fromkeys(spots))}


def _not_counted(visit: Visit) -> Iterator[str]:
    """The trials and the readings set aside, by spot: a row that should count is found here."""
    rows = visit.readings.select_related("spot__room").order_by("position")
    trials = [row for row in rows if row.state == Reading.State.TRIAL and not row.set_aside]
    aside = [row for row in rows if row.set_aside]
    if trials:
        words = ngettext(
            "%(n)d trial, which does not count: %(spots)s.",
            "%(n)d trials, which do not count: %(spots)s.",
            len(trials),
        )
        yield words % {"n": len(trials), "spots": _by_spot(trials)}
    if aside:
        words = ngettext(
            "%(n)d reading set aside: %(spots)s.",
            "%(n)d readings set aside: %(spots)s.",
            len(aside),
        )
        yield words % {"n": len(aside), "spots": _by_spot(aside)}


def _by_spot(rows: Sequence[Reading]) -> str:
    """Each spot with the numbers of its rows."""
    numbers: dict[str, list[str]] = {}
    for row in rows:
        numbers.setdefault(str(row.spot), []).append(str(row.position))
    return "; ".join(f"{spot} ({', '.join(at)})" for spot, at in numbers.items())


def _not_read_again(visit: Visit, baseline: Visit | None, rows: Sequence[Reading]) -> Iterator[str]:
    """Spots and quantities of the baseline that the follow-up has not, in one sentence."""
    if baseline is None or baseline == visit:
        return
    read = {(row.spot_id, row.measurand) for row in rows}
    wanted = {(row.spot_id, row.measurand): row.spot for row in _counted(baseline)}
    missing = [
        f"{spot_name(spot.room.name, spot.name)} ({measurand_words(measurand)})"
        for (pk, measurand), spot in wanted.items()
        if (pk, measurand) not in read
    ]
    if missing:
        sentence = ngettext(
            "The baseline read %(n)d thing that has not been read again: %(what)s. No reduction "
            "can be given for it.",
            "The baseline read %(n)d things that have not been read again: %(what)s. No reduction "
            "can be given for them.",
            len(missing),
        )
        yield sentence % {"n": len(missing), "what": "; ".join(missing)}


def _out_of_calibration(visit: Visit, rows: Sequence[Reading]) -> Iterator[str]:
    """Instruments whose certificate did not cover the day, one sentence each."""
    register = Register(
        Calibration.objects.filter(instrument__in={row.instrument_id for row in rows})
    )
    used = {(row.instrument, Measurand(row.measurand).quantity) for row in rows}
    names = set()
    for instrument, quantity in used:
        # The seal takes what the register has then, not what it had while typing.
        row = register.on(visit.date, instrument=instrument.pk, quantity=quantity)
        if row is None or not row.covers(visit.date):
            names.add(instrument.name)
    for name in sorted(names):
        yield _(
            "No certificate of %(instrument)s was in force on the day: with its readings no "
            "target can be decided, and no reduction given."
        ) % {"instrument": name}


def _counted(visit: Visit) -> Sequence[Reading]:
    return list(
        visit.readings.counted()
        .select_related("spot__room", "ground_point", "instrument")
        .order_by("position")
    )


def _key(row: Reading) -> Key:
    return row.spot_id, row.measurand, row.ground_point_id, row.instrument_id
