"""What letters tell of visits: rows gathered into plain values, once, when a letter is issued."""

from collections.abc import Collection, Iterable, Sequence
from datetime import date

from django.db.models import Q
from django.utils import translation
from django.utils.translation import gettext as _

from consult.letters.content import Addressee, Head, Sender, flux_unit_for, lines
from consult.letters.countries import in_trade_words
from consult.letters.formats import Formats, display_unit, in_unit
from consult.models import Property, current_practice
from surveys.letters.facts import (
    FindingFacts,
    GroundCheckFacts,
    GuidelineFacts,
    InstrumentFacts,
    ReadingFacts,
    SetAsideFacts,
    VisitFacts,
    WordFacts,
)
from surveys.models import (
    AssessorWords,
    Calibration,
    GroundCheck,
    Guideline,
    Measurand,
    PlaceRemark,
    Reading,
    Visit,
    displays,
)
from surveys.models.visits import aside_words
from surveys.results import SpotFinding
from surveys.results.dangers import Danger, dangers_by_now
from surveys.services.corrections import corrections_at, set_aside_words


def sender() -> Sender:
    """The practice as it stands on its letters."""
    practice = current_practice()
    return Sender(
        name=practice.name,
        address=practice.address,
        country=practice.country,
        phone=practice.phone,
        email=practice.email,
        website=practice.website,
        logo=bytes(practice.logo or b""),
        signatory=practice.signatory,
        signatory_role=practice.signatory_function,
    )


def addressee(home: Property) -> Addressee:
    """The client, at the postal address or, without one, at the property's."""
    client = home.client
    return Addressee(client.name, client.address or home.address, email=client.email)


def band_names(guideline: Guideline) -> dict[int, str]:
    """The words of the bands by their numbers, the same for all measurands."""
    return {band.number: band.name for band in guideline.bands.all()}


def guideline_facts(guideline: Guideline) -> GuidelineFacts:
    bands = sorted(guideline.bands.all(), key=lambda band: (band.measurand, band.number))
    bounds: dict[str, tuple[float, float, float]] = {}
    for measurand in Measurand:
        uppers = [band.upper for band in bands if band.measurand == measurand and band.upper]
        if len(uppers) == 3:
            bounds[measurand.value] = (uppers[0], uppers[1], uppers[2])
    words = band_names(guideline)
    return GuidelineFacts(
        code=guideline.code,
        band_words=(words[1], words[2], words[3], words[4]),
        bounds=bounds,
        edition=guideline.title,
    )


def visit_facts(visit: Visit) -> VisitFacts:
    states = list(visit.readings.uncorrected().values_list("state", flat=True))
    return VisitFacts(
        kind=visit.kind,
        day=visit.date,
        assessor=visit.assessor,
        temperature_c=visit.temperature_c,
        humidity_percent=visit.humidity_percent,
        supply_voltage=visit.supply_voltage_v,
        note=visit.note,
        deviations=visit.deviations,
        sampling=visit.sampling,
        readings=len(states),
        trials=states.count(Reading.State.TRIAL),
        label=visit.label,
    )


def instrument_facts(readings: Iterable[Reading], visits: Sequence[Visit]) -> list[InstrumentFacts]:
    """The instruments behind `readings`: one entry per measurand and certificate, with its days."""
    days = {visit.pk: visit.date for visit in visits}
    used: dict[tuple[str, int], set[date]] = {}
    rows: dict[int, Calibration] = {}
    for reading in readings:
        if reading.calibration is not None:
            rows[reading.calibration.pk] = reading.calibration
            key = reading.measurand, reading.calibration.pk
            used.setdefault(key, set()).add(days[reading.visit_id])
    return [
        InstrumentFacts(
            name=row.instrument.name,
            measurand=measurand,
            unit=row.unit,
            gain_percent=row.gain_percent,
            resolution=row.resolution,
            noise=row.noise,
            floor=row.floor,
            ceiling=row.ceiling,
            low_hz=row.low_hz,
            high_hz=row.high_hz,
            certificate=row.certificate,
            calibrated_on=row.calibrated_on,
            due_on=row.due_on,
            description=row.description,
            maker=row.instrument.maker,
            serial=row.instrument.serial,
            laboratory=row.laboratory,
            axes=row.axes,
            used_on=tuple(sorted(used[measurand, pk])),
            out_of_force_on=tuple(
                day for day in sorted(used[measurand, pk]) if not row.covers(day)
            ),
        )
        for measurand, pk in sorted(used)
        for row in [rows[pk]]
    ]


def ground_check_facts(visits: Sequence[Visit]) -> list[GroundCheckFacts]:
    days = {visit.pk: visit.date for visit in visits}
    checks = GroundCheck.objects.filter(visit__in=visits).select_related("point", "other_point")
    return [
        GroundCheckFacts(
            day=days[check.visit_id],
            point=check.point.name,
            other_point=check.other_point.name if check.other_point else "",
            voltage_v=check.voltage_v,
            outlet_test=check.outlet_test,
            note=check.note,
        )
        for check in checks
    ]


def reading_facts(reading: Reading, visit: Visit) -> ReadingFacts:
    return ReadingFacts(
        day=visit.date,
        **{name: displays.cell(reading, name) for name in displays.CELLS},
        unit=reading.unit,
        instrument=reading.instrument.name,
        ground_point=reading.ground_point.name if reading.ground_point else "",
        taken_at=reading.taken_at_text,
        load=reading.load,
        note=reading.note,
        height_m=reading.height_m,
        body_distance_m=reading.body_distance_m,
        surface_distance_m=reading.surface_distance_m,
    )


def set_aside_facts(visits: Sequence[Visit], language: str) -> list[SetAsideFacts]:
    """Readings that were set aside or corrected, each with its reason."""
    days = {visit.pk: visit.date for visit in visits}
    with translation.override(language):
        later = set_aside_words(corrections_at(visits), _("corrected"))
    readings = (
        Reading.objects.filter(visit__in=visits)
        .filter(~Q(set_aside="") | Q(pk__in=later))
        .select_related("spot__room")
        .order_by("visit", "position")
    )
    with translation.override(language):
        reasons = {
            reading.pk: [aside_words(why) for why in (reading.set_aside, later.get(reading.pk, ""))]
            for reading in readings
        }
    return [
        SetAsideFacts(
            day=days[reading.visit_id],
            room=reading.spot.room.name,
            spot=reading.spot.name,
            measurand=reading.measurand,
            shown=displays.whole(reading, reading.unit),
            reason="; ".join(filter(None, reasons[reading.pk])),
        )
        for reading in readings
    ]


def word_facts(visit: Visit, counting: Collection[tuple[int, int]]) -> WordFacts:
    """The words about `visit`, and remarks of the visits at which places were read that count.

    `counting` are these visits and spots by their keys: what was said of a place at a visit that
    counts no more is not said again.
    """
    words = AssessorWords.objects.filter(visit=visit).select_related("written_by").first()
    remarks = PlaceRemark.objects.filter(visit__in={pk for pk, _spot in counting})
    rows = remarks.select_related("spot__room").order_by("visit__date", "visit")
    remark_at = {
        (row.spot.room.name, row.spot.name): row.text
        for row in rows
        if (row.visit_id, row.spot_id) in counting
    }
    if words is None:
        return WordFacts(remarks=remark_at)
    return WordFacts(
        summary=tuple(lines(words.summary)),
        recommendations=tuple(lines(words.recommendations)),
        author=str(words.written_by or ""),
        remarks=remark_at,
    )


def safety_sentences(visits: Sequence[Visit], language: str, head: Head) -> list[str]:
    """Dangers met at the visits and not over, each with what to do, in the letter's language."""
    with translation.override(language):
        stop = in_trade_words(_("Keep clear and call a licensed electrician."), head.country)
        return [
            f"{_danger_sentence(danger, language, head)} {stop}"
            for danger in dangers_by_now(visits)
            if danger.over_on is None
        ]


def past_dangers(visits: Sequence[Visit], language: str, head: Head) -> list[str]:
    """Dangers met at the visits that a later one of them found in order, each with both days."""
    formats = Formats(language, head.country)
    with translation.override(language):
        return [
            f"{formats.day(danger.day)}: {_danger_sentence(danger, language, head)} "
            + _("Tested again on %(day)s it was in order.") % {"day": formats.day(danger.over_on)}
            for danger in dangers_by_now(visits)
            if danger.over_on is not None
        ]


def _danger_sentence(danger: Danger, language: str, head: Head) -> str:
    """What was met, in the active language and the letter's unit."""
    sentences = {
        "outlet": in_trade_words(_("The outlet test at %(place)s found a fault."), head.country),
        "ground points": _("Between the ground points %(place)s there were %(shown)s."),
        "field": _(
            "At %(place)s the reading of %(shown)s was above the reference level for the "
            "general public."
        ),
    }
    shown = ""
    if danger.value is not None:
        unit = display_unit(danger.unit, flux_unit_for(head, language))
        value = in_unit(danger.value, danger.unit, unit)
        shown = Formats(language).quantity(value, unit, danger.qualifier)
    return sentences[danger.kind] % {"place": danger.place, "shown": shown}


def finding_facts(
    finding: SpotFinding, reading: Reading, visit: Visit, limit: float | None
) -> FindingFacts:
    return FindingFacts(
        room=reading.spot.room.name,
        spot=reading.spot.name,
        use=reading.spot.use,
        measurand=finding.measurand,
        unit=Measurand(finding.measurand).unit,
        value=finding.value,
        lower=finding.lower,
        qualifier=finding.qualifier,
        u=finding.u,
        band=finding.band,
        flags=finding.flags,
        limit=limit,
        ground_point=reading.ground_point.name if reading.ground_point else "",
        instrument=reading.instrument.name,
        reading=reading_facts(reading, visit),
        is_certified=finding.certified,
    )
