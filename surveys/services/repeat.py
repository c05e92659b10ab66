"""What a follow-up has to repeat, so that its readings can be set beside the baseline's.

And what is said before a seal, because nothing can be read afterwards.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from consult.letters.words import spot_name
from surveys.models import Calibration, Measurand, Reading, Visit
from surveys.models.measurands import measurand_words
from surveys.results.certificates import Register

Key = tuple[str, str, str, str, str]


@dataclass(frozen=True)
class ToRepeat:
    """A spot, what was read there, against which ground point, on which instrument."""

    room: str
    spot: str
    measurand: str
    ground_point: str
    instrument: str
    load: str = ""  # what was running, which a follow-up should have running too
    done: bool = False


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


def to_repeat(visit: Visit, baseline: Visit) -> list[ToRepeat]:
    """One entry for each spot, measurand, ground point and instrument of the baseline's readings.

    Trials and readings that were set aside or corrected need no second time. On a follow-up
    `done` tells what it has already.
    """
    done = set() if visit == baseline else {_key(row) for row in _counted(visit)}
    loads: dict[Key, dict[str, None]] = {}
    for row in _counted(baseline):
        loads.setdefault(_key(row), {}).update({row.load: None} if row.load else {})
    return [
        ToRepeat(*key, load="; ".join(running), done=key in done) for key, running in loads.items()
    ]


def cautions_before_sealing(visit: Visit, baseline: Visit | None) -> list[str]:
    """What forbids no seal, but leaves the comparison without an answer."""
    rows = _counted(visit)
    return [*_not_read_again(visit, baseline, rows), *_out_of_calibration(visit, rows)]


def _not_read_again(visit: Visit, baseline: Visit | None, rows: Sequence[Reading]) -> Iterator[str]:
    """Spots and quantities of the baseline that the follow-up has not, in one sentence."""
    if baseline is None or baseline == visit:
        return
    read = {_key(row)[:3] for row in rows}
    wanted = dict.fromkeys(_key(row)[:3] for row in _counted(baseline))
    missing = [
        f"{spot_name(room, spot)} ({measurand_words(measurand)})"
        for room, spot, measurand in wanted
        if (room, spot, measurand) not in read
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
    point = row.ground_point.name if row.ground_point else ""
    return row.spot.room.name, row.spot.name, row.measurand, point, row.instrument.name
