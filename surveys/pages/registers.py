"""Instruments, certificates and guidelines as pages and spreadsheets show them."""

from collections.abc import Sequence
from datetime import date
from typing import Any

from django.db.models import Count, Q, QuerySet

from surveys.models import Calibration, Guideline, Instrument, Measurand
from surveys.results.certificates import Standing, falling_due


def instrument_rows(today: date) -> tuple[Sequence[Standing], QuerySet[Instrument]]:
    """What falls due, by quantity; then those out of use or not described yet."""
    standings = falling_due(today)
    shown = {standing.calibration.instrument_id for standing in standings}
    return standings, Instrument.objects.exclude(pk__in=shown).order_by("is_retired", "name")


def certificates_of(instrument: Instrument) -> QuerySet[Calibration]:
    """Its rows, each with the number of sealed readings that stand on it."""
    sealed = Count("readings", filter=Q(readings__visit__sealed_at__isnull=False))
    rows = instrument.calibrations.annotate(n_sealed=sealed).select_related("instrument")
    return rows.order_by("quantity", "calibrated_on", "pk")  # rows that are counted have no own one


def guideline_tables() -> list[dict[str, Any]]:
    """Each guideline with a row per quantity, the built-in ones first."""
    guidelines = Guideline.objects.order_by("-is_built_in", "code").prefetch_related("bands")
    return [
        {
            "guideline": guideline,
            "rows": [
                {
                    "measurand": measurand,
                    "bands": [
                        band for band in guideline.bands.all() if band.measurand == measurand
                    ],
                }
                for measurand in Measurand
            ],
        }
        for guideline in guidelines
    ]
