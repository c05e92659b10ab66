"""One row of a comparison: all that was read at its spot, and how the rules made its figures."""

from typing import Any

from django.http import Http404, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.utils.translation import get_language
from django.views.decorators.http import require_safe

from consult.access import SignedInRequest, role_required
from consult.letters.formats import Formats
from mitigation.comparison import compare
from mitigation.comparison.comparable import PairSide
from mitigation.comparison.compare import Row
from mitigation.letters.derivation import steps
from mitigation.models import Case
from surveys.models import Reading, Visit
from surveys.results import reading_figures
from surveys.services.corrections import corrections_at
from surveys.services.facts import band_names


@require_safe
@role_required("office", "assessor")
def case_spot(request: SignedInRequest, reference: str, spot: int, measurand: str) -> HttpResponse:
    """One row of the comparison: every reading behind it, and each rule with its numbers."""
    cases = Case.objects.visible_to(request.user).for_list()
    case = get_object_or_404(cases, reference=reference)
    comparison = compare(case)
    rows = [row for row in comparison.rows if (row.spot.pk, row.measurand) == (spot, measurand)]
    if not rows:
        raise Http404
    row = rows[0]
    bands = case.guideline.bands.filter(measurand=measurand, upper__isnull=False)
    context = {
        "case": case,
        "row": row,
        "spot": row.result,
        "band_names": band_names(case.guideline),
        "sides": [
            _side(case, row, visit, side)
            for latest, side in (
                (comparison.baseline, row.pair.before),
                (comparison.follow_up, row.pair.after),
            )
            if (visit := side.visit if side else latest) is not None
        ],
        "has_follow_up": comparison.follow_up is not None,
        "steps": steps(
            row,
            bounds=[float(band.upper) for band in bands.order_by("number") if band.upper],
            placement=case.placement_percent / 100,
            formats=Formats(get_language() or "en"),
            compared=comparison.follow_up is not None,
        ),
    }
    return render(request, "mitigation/case_spot.html", context)


def _side(case: Case, row: Row, visit: Visit, side: PairSide | None) -> dict[str, Any]:
    """A visit with all that was read there at the spot in this quantity."""
    readings = Reading.objects.filter(visit=visit, spot=row.spot, measurand=row.measurand)
    return {
        "visit": visit,
        "chosen": side.reading.pk if side else None,
        "readings": readings.select_related("instrument", "ground_point", "calibration"),
        "figures": reading_figures(
            visit, guideline=case.guideline, placement=case.placement_percent / 100
        ),
        "corrected": {correction.reading_id: correction for correction in corrections_at([visit])},
    }
