"""What a plan's figures rest on, in words: what fits, what is unknown and what to measure."""

from collections.abc import Sequence

from django.utils.translation import get_language
from django.utils.translation import gettext as _

from consult.calc.rounding import rounded_interval
from consult.letters.formats import Formats, listing
from mitigation.calc.attribution import ASSUMED_MODEL_ERROR
from mitigation.models import PlanItem
from mitigation.planning.contributions import OUTSIDE, REST, Contribution, Interval
from mitigation.planning.items import Item
from mitigation.planning.rows import FAULTY_GROUND, NOTHING, OUT_OF_RANGE, Forecast, PlanRow
from mitigation.planning.sources import Sources
from mitigation.planning.trials import EVERYTHING
from surveys.calc.arrays import none_if_nan
from surveys.calc.measurands import NUMBER_OF
from surveys.letters.order import Standing, places_in_order
from surveys.models import Measurand
from surveys.models.circuits import with_label

_LIKELY = 0.5
_SURE = 0.975


def formats_here() -> Formats:
    return Formats(get_language() or "en")


def interval_words(interval: Interval, formats: Formats) -> str:
    """As "24.1 (23.8 to 24.4)"."""
    digits = rounded_interval(interval.median, interval.low, interval.high)
    value, low, high = (formats.number(part) for part in digits)
    return f"{value} " + _("(%(low)s to %(high)s)") % {"low": low, "high": high}


def wanted_words(wanted: float) -> str:
    """The probability at which rows are held, as it was given: "90 %"."""
    return formats_here().percent(formats_here().given(round(100 * wanted, 6)))


def source_name(sources: Sources, name: str) -> str:
    """A source as it is written, with what it feeds or hangs on."""
    if name == REST:
        return _("circuits that were not tried")
    if name == OUTSIDE:
        return _("from outside")
    if name in EVERYTHING:
        return _("everything")
    declared = sources.declared.get(name)
    circuit = sources.circuit_of(name)
    about = (declared.label if declared else "") or (sources.shown(circuit) if circuit else "")
    return with_label(sources.shown(name), about)


def names_of(sources: Sources, names: Sequence[str] | frozenset[str]) -> str:
    """Sources in a row: "F1 + F2"."""
    shown = (_("everything") if name in EVERYTHING else sources.shown(name) for name in names)
    return " + ".join(sorted(shown))


def item_place(item: PlanItem) -> str:
    """What an item acts on and where: "F1 (bedroom sockets), Bedroom (bed head)"."""
    circuits = [with_label(row.name, row.label) for row in item.circuits.all()]
    parts = [*circuits, *(row.name for row in item.appliances.all())]
    if item.room is not None:
        spots = ", ".join(spot.name for spot in item.spots.all())
        parts.append(f"{item.room.name} ({spots})" if spots else item.room.name)
    return ", ".join(parts)


def block_sentences(row: PlanRow) -> list[str]:
    """Why nothing can be foretold at a spot, whatever is done, and what to measure."""
    blocks, sentences = row.blocks(), []
    if OUT_OF_RANGE in blocks:
        sentences.append(
            _("The finding is beyond the range of the meter: measure it within range first.")
        )
    if FAULTY_GROUND in blocks:
        sentences.append(
            _("The finding rests on a faulty ground point: measure it again on a sound one.")
        )
    return sentences


def basis_sentences(row: PlanRow, contributions: Sequence[Contribution]) -> list[str]:
    """How sure it is what each source adds, and how well the house obeys the model."""
    sentences = [_fit_sentence(row), *block_sentences(row)]
    if row.is_of_another_state() and row.trial is not None:
        formats = formats_here()
        words = _(
            "All on of the trial (%(all_on)s) and the finding (%(finding)s) differ by more than "
            "placement explains: the house was in another state."
        )
        unit = row.finding.unit
        sentences.append(
            words
            % {
                "all_on": formats.quantity(row.trial.all_on, unit),
                "finding": formats.quantity(row.finding.value, unit),
            }
        )
    return [*sentences, *_raising(row, contributions)]


def _fit_sentence(row: PlanRow) -> str:
    attribution = row.attribution
    if attribution is None:
        return _not_attributed(row)
    if not attribution.checkable:
        percent = formats_here().percent(f"{100 * ASSUMED_MODEL_ERROR:.0f}")
        return _(
            "Too few states to check the model: %(percent)s assumed, read three more states."
        ) % {"percent": percent}
    if attribution.model_error == 0.0:
        return _("The model fits within the noise of the readings.")
    percent = formats_here().percent(f"{100 * attribution.model_error:g}")
    return _("The model fits within %(percent)s.") % {"percent": percent}


def _not_attributed(row: PlanRow) -> str:
    trial = row.trial
    if trial is None:
        return _("No trial was made here.")
    if row.is_pending:
        return _("What each source adds here is not computed yet.")
    if row.is_misfit:
        return _(
            "The house does not obey the model here (misfit): only states that were read count."
        )
    if row.measurand == Measurand.MAGNETIC_FLUX_DENSITY:
        return _("Magnetic fields are not divided among sources: only states that were read count.")
    if not trial.tried:
        return _("No single source was tried here: read states with one of them off.")
    if any(row.sources.angle(name) is None for name in trial.tried):
        return _(
            "The phase of a circuit that was tried is not known: only states that were read count."
        )
    return _("The field was read as a total: only states that were read count.")


def _raising(row: PlanRow, contributions: Sequence[Contribution]) -> list[str]:
    """Sources that cancel others, and what opening such a source alone does."""
    formats, sentences = formats_here(), []
    for part in contributions:
        if part.opened is None or (part.opening_raises <= _LIKELY and not part.cancels):
            continue
        words = {"source": source_name(row.sources, part.source), "unit": row.finding.unit}
        words["opened"] = interval_words(part.opened, formats)
        if part.opening_raises <= _LIKELY:
            text = _("%(source)s cancels some of what others make.")
        elif part.cancels and part.opening_raises >= _SURE:
            text = _(
                "%(source)s cancels others: opening it alone raises the field, to %(opened)s "
                "%(unit)s."
            )
        elif part.opening_raises >= _SURE:
            text = _("Opening %(source)s alone raises the field, to %(opened)s %(unit)s.")
        else:
            text = _("Opening %(source)s alone may raise the field: %(opened)s %(unit)s.")
        sentences.append(text % words)
    return sentences


def unknown_sentences(row: PlanRow, forecast: Forecast, items: Sequence[Item]) -> list[str]:
    """Why nothing is foretold for a row under these items, and what to measure."""
    sentences = block_sentences(row)
    missing = row.not_tried(items)
    if missing:
        names = listing([row.sources.shown(name) for name in missing])
        sentences.append(_("Not tried here: %(names)s. Read a state with it off.")
                         % {"names": names})  # fmt: skip
    if row.trial is not None and forecast.needs and row.trial.is_cut_off():
        sentences.append(_("All on of the trial is beyond the range of the meter."))
    elif forecast.needs:
        states = listing([names_of(row.sources, state) for state in forecast.needs])
        sentences.append(_("Not read yet: %(states)s off. Read this state.") % {"states": states})
    if forecast.unknown and not sentences:
        sentences.append(_("Not computed yet."))
    return sentences


def forecast_sentences(row: PlanRow, forecast: Forecast, items: Sequence[Item]) -> list[str]:
    """What to know beside the figures of a row."""
    if forecast.unknown:
        return unknown_sentences(row, forecast, items)
    sentences = []
    if forecast.may_rise(row) and forecast.basis != NOTHING:
        sentences.append(_("may rise"))
    if row.finding.qualifier:
        sentences.append(_("at most: the finding is a bound"))
    if forecast.basis == NOTHING and items:
        sentences.append(_("nothing of this plan acts here"))
    return sentences


def rows_in_order(rows: Sequence[PlanRow]) -> list[PlanRow]:
    """Places in the one order, and in each the measurands as they are named."""
    rank = places_in_order(
        Standing(row.place[:2], row.spot.use, row.finding.value, none_if_nan(row.limit))
        for row in rows
    )
    return sorted(rows, key=lambda row: (rank[row.place[:2]], NUMBER_OF[row.measurand]))
