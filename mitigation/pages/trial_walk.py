"""What the page of a trial walk shows: its states in words, what each changed, what to do next."""

from collections.abc import Iterable, Sequence
from typing import Any

from django.http import QueryDict
from django.utils.translation import get_language, ngettext
from django.utils.translation import gettext as _

from consult.calc.rounding import rounded
from consult.letters.formats import Formats
from mitigation.forms.trial_walks import TrialSetupForm, TrialStateForm
from mitigation.models import PlanItem
from mitigation.planning.sources import Sources, sources_of
from mitigation.planning.trials import ALL_ON, EVERYTHING
from mitigation.planning.walks import Change, Step, Walk, Where, walk_of
from mitigation.services.trial_fits import kept_fit
from surveys.models import Measurand, Reading, Visit
from surveys.models.displays import CELLS

COLUMN = {axis: number for number, axis in enumerate(CELLS)}


def walk_context(setup: TrialSetupForm, wrong: TrialStateForm | None = None) -> dict[str, Any]:
    """The walk with a form for each state that is to be read; `wrong` came back with faults."""
    where, visit = setup.where(), setup.visit
    sources = sources_of(visit.property_id, visit.property.phases)
    walk = walk_of(where, sources, _planned_sources(visit), kept_fit)
    readings = Reading.objects.in_bulk([step.reading for step in walk.steps if step.reading])
    columns = setup.columns()
    rows = [
        _row(number, step, walk, where, sources, columns, readings)
        for number, step in enumerate(walk.steps)
    ]
    to_read = [row for row in rows if row["is_open"]]
    if wrong is not None:
        _put_back(rows, wrong)
    current = next((row for row in to_read if row["tells_most"]), next(iter(to_read), None))
    if current is not None:
        current["is_current"] = True
        if wrong is None:
            current["form"].fields[_first_open(current)].widget.attrs["autofocus"] = True
    return {
        "where": where,
        "unit": Measurand(where.measurand).unit,
        "rows": rows,
        "n_read": sum(not row["is_open"] for row in rows),
        "one_by_one": len(columns) == 1,
        "rising": [_rising(name, where, sources) for name in walk.rising],
        "sentences": _sentences(walk, visit),
        "query": trial_query(setup),
    }


def _row(
    number: int,
    step: Step,
    walk: Walk,
    where: Where,
    sources: Sources,
    columns: Sequence[str],
    readings: dict[int, Reading],
) -> dict[str, Any]:
    is_open = step.reading is None or not _is_complete(step, columns)
    form = TrialStateForm(
        columns=columns,
        initial={"off": step.shown, "nth": step.nth},
        auto_id=f"state-{number}-%s",
    )
    return {
        "title": _title(step, sources),
        "again": step.nth > 0,
        "reading": readings.get(step.reading or 0),
        "is_open": is_open,
        "is_current": False,
        "tells_most": is_open and step.off == walk.next_off,
        "change": _change_words(step.change, where),
        "rising": _rising(step.shown, where, sources) if step.shown in walk.rising else "",
        "form": form,
    }


def _is_complete(step: Step, columns: Sequence[str]) -> bool:
    """With one axis at a time a state is read once that axis is."""
    return len(columns) > 1 or COLUMN[columns[0]] in step.has or COLUMN["total"] in step.has


def _first_open(row: dict[str, Any]) -> str:
    return str(row["form"].displays()[0].name)


def _put_back(rows: Iterable[dict[str, Any]], wrong: TrialStateForm) -> None:
    for row in rows:
        initial = row["form"].initial
        sent = (wrong.data.get("off", ""), wrong.data.get("nth", ""))
        if (initial["off"], str(initial["nth"])) == sent:
            wrong.auto_id = row["form"].auto_id
            row |= {"form": wrong, "is_open": True}


def _title(step: Step, sources: Sources) -> str:
    """What has to be off, in words."""
    if step.off == ALL_ON:
        return _("Everything on")
    if step.off == EVERYTHING:
        return _("Main switch off")
    names = [sources.shown(name) for name in sorted(step.off)]
    return _("%(names)s off") % {"names": " + ".join(names)}


def _change_words(change: Change | None, where: Where) -> str:
    """Such as `12 V/m; falls by 30 V/m (71 %)`."""
    if change is None:
        return ""
    unit = Measurand(where.measurand).unit
    value = _figures(change.value, unit, change.sign)
    difference, percent = change.difference, change.percent
    if difference is None or percent is None:
        return value
    words = {
        "value": value,
        "by": _figures(abs(difference), unit),
        "percent": f"{abs(percent):.0f}",
    }
    if change.sign:
        return (
            _("%(value)s, rises by at least %(by)s (%(percent)s %%)")
            if difference > 0
            else _("%(value)s, falls by at least %(by)s (%(percent)s %%)")
        ) % words
    if round(percent) == 0:
        return _("%(value)s, as with everything on") % words
    if difference > 0:
        return _("%(value)s, rises by %(by)s (%(percent)s %%)") % words
    return _("%(value)s, falls by %(by)s (%(percent)s %%)") % words


def _figures(value: float, unit: str, sign: str = "") -> str:
    """As exact as a trial is: three figures."""
    exact = float(rounded(value, significant=3).value)
    return Formats(get_language() or "en").quantity(exact, unit, sign)


def _rising(name: str, where: Where, sources: Sources) -> str:
    """Never to be switched off alone, in words."""
    is_body = where.measurand == Measurand.BODY_VOLTAGE
    words = {"name": name, "spot": where.spot}
    if sources.circuit_of(name.casefold()):
        return (
            _("Unplugging %(name)s raises the body voltage at %(spot)s: it partly cancels others. "
              "Do not unplug it alone.")
            if is_body
            else _("Unplugging %(name)s raises the field at %(spot)s: it partly cancels others. "
                   "Do not unplug it alone.")
        ) % words  # fmt: skip
    return (
        _("Opening %(name)s raises the body voltage at %(spot)s: it partly cancels others. "
          "Do not open it alone.")
        if is_body
        else _("Opening %(name)s raises the field at %(spot)s: it partly cancels others. "
               "Do not open it alone.")
    ) % words  # fmt: skip


def _sentences(walk: Walk, visit: Visit) -> list[str]:
    """Whether the model can be checked, and what to read next."""
    sentences = []
    if not walk.is_attributed:
        sentences.append(
            _("Flux density and totals are not shared out among circuits: read every state that "
              "a plan may make.")
        )  # fmt: skip
    elif walk.unknown_phases:
        words = _("The phase of %(names)s is not known: enter it, or read every state that a plan "
                  "may make.")  # fmt: skip
        sentences.append(words % {"names": ", ".join(walk.unknown_phases)})
    elif walk.missing:
        words = ngettext(
            "The model cannot be checked yet: read %(n)d more state.",
            "The model cannot be checked yet: read %(n)d more states.",
            walk.missing,
        )
        sentences.append(words % {"n": walk.missing})
    else:
        sentences += _of_fit(walk, visit)
    if walk.plan_state_is_read:
        sentences.append(
            _("The state that the present plan makes was read: its promise rests on a reading.")
        )
    return sentences


def _of_fit(walk: Walk, visit: Visit) -> list[str]:
    sentences = [_("There are enough readings to check the model.")]
    if walk.is_too_long and visit.sealed_at is None:
        sentences.append(
            _("So many circuits take some seconds to compute: which state tells most, and what "
              "each circuit adds, comes after the seal.")
        )  # fmt: skip
    elif walk.is_too_long:
        sentences.append(_("What each circuit adds is being computed."))
    elif walk.fit is not None and walk.fit.is_misfit:
        sentences.append(
            _("The readings do not fit together: they do not add up as fields of circuits do. "
              "Look whether something was switched meanwhile or the probe was moved, and read "
              "“everything on” again.")
        )  # fmt: skip
    elif walk.fit is not None and walk.fit.attribution is not None:
        percent = f"{100 * walk.fit.attribution.model_error:g}"
        words = _("The readings fit the model within %(percent)s %%.")
        sentences.append(words % {"percent": Formats(get_language() or "en").number(percent)})
        if walk.next_off is None:
            sentences.append(_("No further state would tell more."))
    return sentences


def _planned_sources(visit: Visit) -> list[str]:
    """The sources on which the items act that are in the plan of a case of this visit."""
    items = PlanItem.objects.filter(case__visits=visit, is_chosen=True)
    names = [*items.values_list("circuits__name", flat=True),
             *items.values_list("appliances__name", flat=True)]  # fmt: skip
    return [name for name in names if name]


def trial_query(setup: TrialSetupForm) -> str:
    """The query of the address of just this trial."""
    asked: Any = setup.data
    query = QueryDict(mutable=True)
    for name in setup.fields:
        query.setlist(name, asked.getlist(name))
    return str(query.urlencode())
