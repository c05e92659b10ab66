"""The engineer's part that survey report and outcome letter share."""

from collections.abc import Sequence

from django.utils.translation import gettext as _
from django.utils.translation import ngettext, pgettext

from consult.letters.content import (
    Block,
    Head,
    column,
    facts,
    heading,
    note,
    one_line,
    paragraph,
    table,
)
from consult.letters.countries import in_trade_words
from consult.letters.formats import NBSP, Formats
from consult.letters.words import OUTLET_TESTS, VISIT_KINDS, ground_sentences
from surveys.letters.facts import GroundCheckFacts, InstrumentFacts, VisitFacts
from surveys.letters.readings import NOT_IN_FORCE
from surveys.models.measurands import measurand_words

DASH = "–"
_ROD_WORDS = ("rod", "spike", "stake", "spieß", "spiess", "erder", "stab")


def identification(
    head: Head,
    formats: Formats,
    *,
    what: str,
    frequency_hz: float | None,
    visits: Sequence[VisitFacts],
    n_places: int,
) -> list[Block]:
    """Who, for whom, what, where and when (ISO/IEC 17025:2017, 7.8.2)."""
    client, sender = head.addressee, head.sender
    days = ", ".join(dict.fromkeys(formats.day(visit.day) for visit in visits))
    mains = f"{formats.given(frequency_hz)}{NBSP}Hz" if frequency_hz else ""
    role = sender.signatory_role or _("signatory of the practice")
    authorised = f"{sender.signatory}, {role}" if sender.signatory else sender.name
    items = ngettext(
        "%(count)s place, as the household used it at the hour of each reading; it was measured "
        "itself, nothing was sampled",
        "%(count)s places, as the household used them at the hour of each reading; each was "
        "measured itself, nothing was sampled",
        n_places,
    ) % {"count": n_places}  # fmt: skip
    return [
        heading(_("Identification")),
        facts(
            [
                (_("Document"), f"{what}, {_('letter')} {head.number}"),
                (_("Issued by"), f"{sender.name}, {one_line(sender.address)}"),
                (in_trade_words(_("Authorised by"), head.country), authorised),
                (_("Date of issue"), formats.day(head.issued_on)),
                (_("Client"), one_line(f"{client.name} *\n{client.address}")),
                (_("Place of measurement"), f"{one_line(head.property_address)} *"),
                (_("What was measured"), items),
                (_("Dates of measurement"), days),
                (_("Mains frequency"), mains),
            ]
        ),
        paragraph(_("* Stated by the client; so is what each place is used for.")),
    ]


def visit_words(visit: VisitFacts) -> str:
    """The kind of a visit with its name, unless the name says the kind already."""
    kind = _(VISIT_KINDS.get(visit.kind, visit.kind))
    if visit.label.casefold().startswith(kind.casefold()):
        return visit.label
    return f"{kind} {visit.label}".strip()


def visits_and_conditions(
    visits: Sequence[VisitFacts], formats: Formats, distances: str = ""
) -> list[Block]:
    rows = [
        [
            visit_words(visit),
            formats.day(visit.day),
            visit.assessor or DASH,
            formats.given(visit.temperature_c) or DASH,
            formats.given(visit.humidity_percent) or DASH,
            formats.given(visit.supply_voltage) or DASH,
            _count_words(visit),
            "; ".join(filter(None, (visit.note, visit.deviations))) or DASH,
        ]
        for visit in visits
    ]
    columns = [
        column(_("Visit"), 13),
        column(_("Date"), 14),
        column(_("Assessor"), 12),
        column("°C", 7, number=True),
        column(_("Humidity in %"), 11, number=True),
        column(_("Supply voltage in V"), 12, number=True),
        column(_("Readings"), 12),
        column(_("Note and deviations"), 19),
    ]
    return [
        heading(_("Visits and conditions")),
        table(_("Conditions on the days of measurement"), columns, [("", rows)], small=True),
        *(paragraph(sentence) for sentence in filter(None, [_sampling(visits), distances])),
    ]


def _sampling(visits: Sequence[VisitFacts]) -> str:
    """How the spots were chosen, where somebody has said it."""
    plans = list(dict.fromkeys(visit.sampling for visit in visits if visit.sampling))
    if not plans:
        return ""
    return _("How the spots were chosen: %(plan)s") % {"plan": "; ".join(plans)}


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
            _due(item, formats),
            formats.given(item.gain_percent) or DASH,
            _resolution(item, formats),
            _range_hz(item, formats),
        ]
        for item in instruments
    ]
    columns = [
        column(_("Instrument"), 15),
        column(_("Quantity"), 17),
        column(pgettext("narrow column", "Certificate"), 9),
        column(_("Calibrated on"), 12),
        column(_("Due on"), 12),
        column(_("Calibration uncertainty in % (k = 2)"), 13, number=True),
        column(_("Resolution; noise"), 11, number=True),
        column(_("Frequency range in Hz"), 11, number=True),
    ]
    blocks = [
        heading(_("Instruments and calibration")),
        table(_("Instruments with the certificate of each"), columns, [("", rows)], small=True),
    ]
    if any(item.out_of_force_on for item in instruments):
        expired = _("%(mark)s Read on an instrument without a certificate in force on that day.")
        blocks.append(paragraph(expired % {"mark": NOT_IN_FORCE}))
    return blocks


def _due(item: InstrumentFacts, formats: Formats) -> str:
    """The day until which the certificate holds, and whether it was past on a day of use."""
    if not item.out_of_force_on:
        return formats.day(item.due_on) or DASH
    if item.due_on is None:
        return f"{_('not in force')}{NBSP}{NOT_IN_FORCE}"
    return _("EXPIRED on %(day)s") % {"day": formats.day(item.due_on)} + f"{NBSP}{NOT_IN_FORCE}"


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


def ground_points(
    checks: Sequence[GroundCheckFacts],
    formats: Formats,
    *,
    were_used: bool = True,
    with_rod: bool = True,
) -> list[Block]:
    """The checks with what they cannot show; nothing where nothing was read against ground."""
    if not checks:
        if not were_used:
            return []
        return [
            heading(_("Ground points")),
            paragraph(_("No check of ground points is on record.")),
            note(_("Please note"), ground_sentences(formats.country, with_rod=with_rod)),
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
        note(_("Please note"), ground_sentences(formats.country, with_rod=with_rod)),
    ]


def is_rod(point: str) -> bool:
    """Whether a ground point is by its name a rod driven into the soil."""
    return any(word in point.casefold() for word in _ROD_WORDS)
