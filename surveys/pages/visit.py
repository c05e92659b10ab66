"""What the page of a visit shows, gathered once for the page and for its part."""

from collections.abc import Iterable, Mapping, Sequence
from typing import Any
from urllib.parse import urlencode

from django.core.paginator import Paginator
from django.db.models import QuerySet
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone

from consult.letters import words
from surveys.calc.uncertainty import DEFAULT_PLACEMENT
from surveys.forms.readings import ReadingForm
from surveys.forms.visits import GroundCheckForm, GroundPointForm, SpotForm
from surveys.models import AssessorWords, Guideline, Reading, Spot, Visit
from surveys.results import RULES, reading_figures, visit_results
from surveys.results.dangers import dangers_of
from surveys.services.corrections import corrections_at
from surveys.services.facts import band_names
from surveys.services.repeat import (
    RowToRead,
    baseline_of,
    cautions_before_sealing,
    repeatable,
    to_read,
)
from surveys.services.visits import missing_before_sealing, state_of

PER_PAGE = 200
PAGE = "surveys/visit_detail.html"
WORK = f"{PAGE}#work"
TYPING = "reading_add"


def chosen_guideline(request: HttpRequest) -> Guideline:
    """The guideline that the address names, or the usual one."""
    code = request.GET.get("guideline", "")
    named = Guideline.objects.filter(code=code).first()
    return named or Guideline.objects.get(code=Guideline.USUAL)


def chosen_placement(request: HttpRequest) -> float:
    """p as a fraction: the percentage that the address names, or the house assumption."""
    try:
        percent = float(request.GET.get("placement", ""))
    except ValueError:
        return DEFAULT_PLACEMENT
    return percent / 100 if 0 <= percent <= 100 else DEFAULT_PLACEMENT


def chosen_pattern(request: HttpRequest, others: Iterable[Visit]) -> Visit | None:
    """The visit whose rows are read again, where the address names one of `others`."""
    named = request.GET.get("rows", "")
    return next((visit for visit in others if str(visit.pk) == named), None)


def choice_of(guideline: Guideline, placement: float) -> str:
    """What was chosen, as the query of the next address."""
    return urlencode({"guideline": guideline.code, "placement": f"{100 * placement:g}"})


def page_context(
    request: HttpRequest, visit: Visit, *, walk: bool = False, **forms: Any
) -> dict[str, Any]:
    """Everything on the page; `forms` are those that came back with faults."""
    guideline, placement = chosen_guideline(request), chosen_placement(request)
    is_open = visit.sealed_at is None
    seen = state_of(visit) if is_open else ""  # first: what comes in from here on was not seen
    page = Paginator(readings_in_order(visit), PER_PAGE).get_page(request.GET.get("page"))
    baseline = baseline_of(visit)
    context: dict[str, Any] = {
        "visit": visit,
        "seen": seen,
        "guideline": guideline,
        "guidelines": Guideline.objects.all(),
        "band_names": band_names(guideline),
        "placement_percent": round(100 * placement, 6),
        "choice": choice_of(guideline, placement),
        "rules": RULES,
        "page": page,
        "figures": reading_figures(visit, guideline=guideline, placement=placement),
        "findings": findings_at(visit, guideline, placement),
        "dangers": dangers_of(visit),
        "ground_checks": visit.ground_checks.select_related("point", "other_point"),
        "baseline": baseline,
        "words": AssessorWords.objects.filter(visit=visit).select_related("written_by").first(),
        "remarks": visit.remarks.select_related("spot__room"),
    }
    context |= put_right(visit)
    if is_open:
        rows, listed = _rows_again(request, visit, context, guideline, placement)
        context |= listed
        context["missing"] = missing_before_sealing(visit, today=timezone.localdate())
        context["cautions"] = cautions_before_sealing(visit, baseline)
        context["ground_sentences"] = words.ground_sentences(visit.property.country)
        walk = walk or bool(request.GET.get("walk"))
        chosen_fields = {
            name: request.GET[name] for name in ReadingForm.WHERE if request.GET.get(name)
        }
        context |= _blank_forms(visit, chosen_fields, rows, walk=walk)
        if "measurand" in chosen_fields:
            context["narrowed"] = True
            context["reading_form"].narrow()
            context["reading_form"].go_on_at(context["next_display"])
    return context | forms


def _rows_again(
    request: HttpRequest,
    visit: Visit,
    context: Mapping[str, Any],
    guideline: Guideline,
    placement: float,
) -> tuple[list[RowToRead], dict[str, Any]]:
    """The rows of the visit that is read again: the baseline, or the one that the address names."""
    others, baseline = list(repeatable(visit)), context["baseline"]
    pattern = chosen_pattern(request, others) or baseline
    rows = to_read(visit, pattern)
    listed = _list_of_rows(visit, pattern, rows, context["findings"], guideline, placement)
    listed |= {"pattern": pattern, "others": others}
    if pattern is not None and pattern != baseline:
        listed["choice"] = f"{context['choice']}&rows={pattern.pk}"
    return rows, listed


def put_right(visit: Visit) -> dict[str, Any]:
    """What was put right after the seal, by the reading it was about and by its replacement."""
    corrections = corrections_at([visit])
    return {
        "corrections": corrections,
        # Of a reading that was first set aside and then replaced the later word holds.
        "corrected": {correction.reading_id: correction for correction in corrections},
        "corrects": {
            correction.replacement_id: correction
            for correction in corrections
            if correction.replacement_id
        },
    }


def readings_in_order(visit: Visit) -> QuerySet[Reading]:
    """The readings as the page has them: while one types the latest first, then as they came."""
    rows = visit.readings.select_related("spot__room", "instrument", "ground_point")
    return rows.order_by("position" if visit.sealed_at else "-position")


def findings_at(visit: Visit, guideline: Guideline, placement: float) -> list[dict[str, Any]]:
    """Each spot and quantity of the visit with its finding."""
    findings = visit_results([visit], guideline=guideline, placement=placement).findings
    spots = Spot.objects.select_related("room").in_bulk(
        {finding.spot for finding in findings.values()}
    )
    return [{"spot": spots[finding.spot], "finding": finding} for finding in findings.values()]


def _list_of_rows(
    visit: Visit,
    pattern: Visit | None,
    rows: Sequence[RowToRead],
    findings: Sequence[Mapping[str, Any]],
    guideline: Guideline,
    placement: float,
) -> dict[str, Any]:
    """Each row to read with its value before and now, and what a tap fills the form with."""
    now = {(row["spot"].pk, row["finding"].measurand): row["finding"] for row in findings}
    before = {}
    if pattern is not None and pattern != visit:
        earlier = visit_results([pattern], guideline=guideline, placement=placement).findings
        before = {(spot, measurand): finding for (_pk, spot, measurand), finding in earlier.items()}
    return {
        "to_read": [
            {
                "row": row,
                "query": urlencode(row.choices()),
                "before": before.get((row.spot.pk, row.measurand)),
                "now": now.get((row.spot.pk, row.measurand)),
            }
            for row in rows
        ],
        "n_open": sum(not row.done for row in rows),
    }


def _blank_forms(
    visit: Visit, chosen_fields: Mapping[str, str], rows: Sequence[RowToRead], *, walk: bool
) -> dict[str, Any]:
    """What may be entered next: what the address names, or what is most likely read next."""
    last = visit.readings.select_related("spot__room", "instrument").order_by("position").last()
    likely = ReadingForm.next_after(last, walk=walk)
    row = None
    if "measurand" in chosen_fields:  # a row of the list was tapped: it says all of this
        likely |= dict.fromkeys(ReadingForm.WHERE, "")
        row = next((row for row in rows if _is_asked(row, chosen_fields)), None)
    elif not walk and not chosen_fields and visit.kind == Visit.Kind.FOLLOW_UP:
        row = _next_open(last, rows)
        likely |= row.choices() if row else {}
    display = ReadingForm.display_after(last)
    if row is not None:
        display = "total" if row.has_total else "x"
    return {
        "last": last,
        "reading_form": ReadingForm(visit=visit, initial=likely | dict(chosen_fields)),
        "next_display": display,
        "check_form": GroundCheckForm(visit=visit, prefix="check"),
        "spot_form": SpotForm(prefix="place"),
        "point_form": GroundPointForm(prefix="point"),
    }


def _is_asked(row: RowToRead, chosen_fields: Mapping[str, str]) -> bool:
    return {name: str(value) for name, value in row.choices().items()} == chosen_fields


def _next_open(last: Reading | None, rows: Sequence[RowToRead]) -> RowToRead | None:
    """The first open row after the one that was read last, once that one is done."""
    places = [(row.spot.pk, row.measurand) for row in rows]
    last_place = (last.spot_id, last.measurand) if last else None
    at = places.index(last_place) if last_place in places else -1
    if at >= 0 and not rows[at].done:
        return None
    following = [*rows[at + 1 :], *rows[: at + 1]]
    return next((row for row in following if not row.done and row.measurand), None)


def answer(
    request: HttpRequest,
    visit: Visit,
    *,
    spot: Spot | None = None,
    walk: bool = False,
    **forms: Any,
) -> HttpResponse:
    """After an entry: the page anew, or its part where htmx asks; 422 where a form has faults.

    A `spot` that was entered just now is where the next reading is most likely taken; on a trial
    `walk` the next reading is in the same state.
    """
    part = bool(getattr(request, "htmx", False)) and not request.htmx.boosted  # type: ignore[attr-defined]  # set by its middleware
    if not forms and not part:
        query = request.GET.copy()
        query.pop("walk", None)
        if walk:
            query["walk"] = "1"
        if spot is not None:
            query["spot"] = str(spot.pk)
        address = reverse("visit_detail", args=[visit.pk])
        return redirect(f"{address}?{query.urlencode()}#entry" if query else f"{address}#entry")
    context = page_context(request, visit, walk=walk, **forms)
    context["narrowed"] = part or context.get("narrowed", False)
    typing = request.resolver_match is not None and request.resolver_match.url_name == TYPING
    if part and "reading_form" in context:
        if spot is not None:
            context["reading_form"].initial["spot"] = spot.pk
        context["reading_form"].narrow()
    if part and typing and "reading_form" in context:
        context["reading_form"].go_on_at(context["next_display"])
    response = render(request, WORK if part else PAGE, context, status=422 if forms else 200)
    response["Vary"] = "HX-Request"
    return response
