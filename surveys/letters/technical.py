"""The engineer's part that survey report and outcome letter share."""

from collections.abc import Iterable, Sequence
from typing import Any

from django.utils.translation import gettext as _
from django.utils.translation import ngettext, pgettext

from consult.letters.content import Block, Head, column, facts, heading, note, one_line, table
from consult.letters.formats import NBSP, Formats
from consult.letters.words import (
    OUTLET_TESTS,
    VISIT_KINDS,
    band_words,
    ground_sentences,
    rule_sentence,
    spot_name,
)
from surveys.letters.facts import (
    GroundCheckFacts,
    GuidelineFacts,
    InstrumentFacts,
    ReadingFacts,
    SetAsideFacts,
    VisitFacts,
)
from surveys.models import displays
from surveys.models.measurands import measurand_words

DASH = "–"


def identification(
    head: Head,
    formats: Formats,
    *,
    what: str,
    frequency_hz: float | None,
    visits: Sequence[VisitFacts],
) -> list[Block]:
    """Who, for whom, what, where and when (ISO/IEC 17025:2017, 7.8.2)."""
    client = head.addressee
    days = ", ".join(formats.day(visit.day) for visit in visits)
    mains = f"{formats.given(frequency_hz)} Hz" if frequency_hz else ""
    return [
        heading(_("Identification")),
        facts(
            [
                (_("Document"), f"{what}, {_('letter')} {head.number}"),
                (_("Issued by"), f"{head.sender.name}, {one_line(head.sender.address)}"),
                (_("Authorised by"), head.sender.signatory or head.sender.name),
                (_("Date of issue"), formats.day(head.issued_on)),
                (_("Client"), one_line(f"{client.name}\n{client.address}")),
                (_("Place of measurement"), one_line(head.property_address)),
                (_("Dates of measurement"), days),
                (_("Mains frequency"), mains),
            ]
        ),
    ]


def _visit_words(visit: VisitFacts) -> str:
    """The kind of a visit with its name, unless the name says the kind already."""
    kind = _(VISIT_KINDS.get(visit.kind, visit.kind))
    if visit.label.casefold().startswith(kind.casefold()):
        return visit.label
    return f"{kind} {visit.label}".strip()


def visits_and_conditions(visits: Sequence[VisitFacts], formats: Formats) -> list[Block]:
    rows = [
        [
            _visit_words(visit),
            formats.day(visit.day),
            visit.assessor or DASH,
            formats.given(visit.temperature_c) or DASH,
            formats.given(visit.humidity_percent) or DASH,
            formats.given(visit.supply_voltage) or DASH,
            _count_words(visit),
            visit.note or DASH,
        ]
        for visit in visits
    ]
    columns = [
        column(_("Visit"), 15),
        column(_("Date"), 15),
        column(_("Assessor"), 13),
        column("°C", 6, number=True),
        column(_("rel. hum. %"), 9, number=True),
        column(_("Supply V"), 8, number=True),
        column(_("Readings"), 13),
        column(_("Note"), 21),
    ]
    return [
        heading(_("Visits and conditions")),
        table(_("Conditions on the days of measurement"), columns, [("", rows)], small=True),
    ]


def _count_words(visit: VisitFacts) -> str:
    if not visit.readings:
        return DASH
    counting = visit.readings - visit.trials
    words = ngettext("%(n)d reading", "%(n)d readings", counting) % {"n": counting}
    if not visit.trials:
        return words
    trials = ngettext("%(n)d trial", "%(n)d trials", visit.trials) % {"n": visit.trials}
    return _("%(first)s and %(last)s") % {"first": words, "last": trials}


def instruments_used(instruments: Sequence[InstrumentFacts], formats: Formats) -> list[Block]:
    rows = [
        [
            _label_and_plate(item),
            f"{measurand_words(item.measurand)} [{item.unit}]",
            ", ".join(filter(None, (item.certificate or _("no certificate"), item.laboratory))),
            formats.day(item.calibrated_on) or DASH,
            formats.day(item.due_on) or DASH,
            formats.given(item.gain_percent) or DASH,
            _resolution(item, formats),
            _range_hz(item, formats),
        ]
        for item in instruments
    ]
    columns = [
        column(_("Instrument"), 17),
        column(_("Quantity"), 16),
        column(pgettext("narrow column", "Certificate"), 11),
        column(_("Calibrated on"), 13),
        column(_("Due on"), 13),
        column(_("Gain ± %, k = 2"), 10, number=True),
        column(_("Resolution; noise"), 11, number=True),
        column("Hz", 9, number=True),
    ]
    return [
        heading(_("Instruments and calibration")),
        table(
            _("Instruments with the certificate in force on the day of use"),
            columns,
            [("", rows)],
            small=True,
        ),
    ]


def _label_and_plate(item: InstrumentFacts) -> str:
    """Its label with what describes it, then maker and serial number."""
    serial = _("no. %(serial)s") % {"serial": item.serial} if item.serial else ""
    label = item.name + (f" ({item.description})" if item.description else "")
    return ", ".join(filter(None, (label, item.maker, serial)))


def _resolution(item: InstrumentFacts, formats: Formats) -> str:
    parts = [formats.given(item.resolution) or DASH]
    if item.noise:
        parts.append(formats.given(item.noise))
    return "; ".join(parts)


def _range_hz(item: InstrumentFacts, formats: Formats) -> str:
    if item.low_hz is None or item.high_hz is None:
        return DASH
    return f"{formats.given(item.low_hz)}–{formats.given(item.high_hz)}"


def ground_points(checks: Sequence[GroundCheckFacts], formats: Formats) -> list[Block]:
    """The checks with what they cannot show; nothing where no check was made."""
    if not checks:
        return [
            heading(_("Ground points")),
            {"type": "paragraph", "text": _("No check of ground points is on record.")},
            note(_("Please note"), ground_sentences()),
        ]
    rows = [
        [
            check.point,
            formats.day(check.day),
            check.other_point or DASH,
            formats.given(check.voltage_v) or DASH,
            _(OUTLET_TESTS[check.outlet_test]) if check.outlet_test in OUTLET_TESTS else DASH,
            check.note or DASH,
        ]
        for check in checks
    ]
    columns = [
        column(_("Ground point"), 22),
        column(_("Date"), 16),
        column(_("against"), 18),
        column("V", 8, number=True),
        column(pgettext("narrow column", "Outlet test"), 12),
        column(_("Note"), 24),
    ]
    return [
        heading(_("Ground points")),
        table(_("Checks of the ground points"), columns, [("", rows)], small=True),
        note(_("Please note"), ground_sentences()),
    ]


def deciding_readings(
    readings: Iterable[tuple[str, str, ReadingFacts]], formats: Formats
) -> list[Block]:
    """Every value back to the display: group, spot and the reading that gave the value."""
    groups: dict[str, list[list[str]]] = {}
    for group, spot, reading in readings:
        taken = " ".join(part for part in (formats.day(reading.day), reading.taken_at) if part)
        source = ", ".join(part for part in (reading.instrument, reading.ground_point) if part)
        remarks = "; ".join(part for part in (reading.load, reading.note) if part)
        groups.setdefault(group, []).append(
            [spot, taken, _display(reading, formats), source or DASH, remarks or DASH]
        )
    if not groups:
        return []
    columns = [
        column(_("Spot"), 24),
        column(_("Taken"), 18),
        column(_("Display"), 18),
        column(_("Instrument, ground point"), 19),
        column(_("Load, note"), 21),
    ]
    return [
        heading(_("The readings that decided, as the display showed them")),
        table(_("The highest reading of each spot"), columns, list(groups.items()), small=True),
    ]


def _display(reading: ReadingFacts, formats: Formats) -> str:
    return formats.shown(displays.joined(reading.cells, reading.unit))


def readings_set_aside(items: Sequence[SetAsideFacts], formats: Formats) -> list[Block]:
    if not items:
        return []
    rows = [
        [
            spot_name(item.room, item.spot),
            measurand_words(item.measurand),
            formats.day(item.day),
            formats.shown(item.shown),
            item.reason,
        ]
        for item in items
    ]
    columns = [
        column(_("Spot"), 22),
        column(_("Quantity"), 22),
        column(_("Date"), 16),
        column(_("Display"), 12, number=True),
        column(_("Reason"), 28),
    ]
    return [
        heading(_("Readings set aside")),
        table(_("Kept, but not counted"), columns, [("", rows)], small=True),
    ]


def method(rules: Sequence[str], formats: Formats, placement_percent: float) -> list[Block]:
    """The rules that computed the numbers, by identifier."""
    sentences = [f"{rule}: {rule_sentence(rule)}".rstrip(": ") for rule in rules]
    placement = _("Placement p in this case: %(percent)s, a relative standard uncertainty.") % {
        "percent": f"{formats.given(placement_percent)}{NBSP}%"
    }
    return [
        heading(_("Method and rules of computing")),
        {"type": "list", "entries": [*_measuring_sentences(), *sentences, placement]},
    ]


def _measuring_sentences() -> list[str]:
    return [
        _(
            "Ground-referenced electric field: meter close to the body, a hand on its ground "
            "terminal, ground lead down and away, everybody behind the meter; the reading includes "
            "the body that holds it. Potential-free: floating meter, at least 10 cm (4 in) from "
            "conductive surfaces, bodies at least 1.5 m (5 ft) away. The two are different "
            "quantities and are never set in one ratio."
        ),
        _("Magnetic flux density depends on the load: what was running is noted with the reading."),
    ]


def guideline_table(
    guideline: GuidelineFacts, formats: Formats, measurands: Sequence[tuple[str, str]]
) -> list[Block]:
    """The bounds that were applied."""
    rows = []
    for code, unit in measurands:
        first, second, third = (formats.given(bound) for bound in guideline.bounds[code])
        rows.append(
            [f"{measurand_words(code)} [{unit}]", f"< {first}", f"{first} – {second}",
             f"{second} – {third}", f"> {third}"]
        )  # fmt: skip
    columns: list[dict[str, Any]] = [column(_("Quantity"), 32)]
    for place, words in enumerate(band_words(guideline.band_words), start=1):
        columns.append(column(f"{place}: {words}", 17))
    name = f"{guideline.code} {guideline.edition}".strip()
    return [
        heading(_("Guideline")),
        table(_("Bands of %(guideline)s") % {"guideline": name}, columns, [("", rows)], small=True),
    ]
