"""The pictures of a comparison, drawn for the reader of the page."""

from dataclasses import replace

from django.utils.safestring import SafeString, mark_safe
from django.utils.translation import get_language
from django.utils.translation import gettext as _

from consult.letters.charts import NARROW, WIDE, Chart, Layout, PictureRow
from consult.letters.formats import picture_words
from consult.letters.picture import before_after_svg, findings_svg
from mitigation.comparison import Comparison
from mitigation.letters.outcome import outcome_charts
from surveys.services.facts import guideline_facts


def case_pictures(comparison: Comparison) -> list[tuple[str, SafeString, SafeString]]:
    """One picture per measurand, with its name, for wide screens and for phones."""
    language = get_language() or "en"
    uses = {
        (row.spot.room.name, row.spot.name, row.measurand): row.spot.use for row in comparison.rows
    }
    charts = outcome_charts(
        outcome=comparison.as_json(),
        uses=uses,
        guideline=guideline_facts(comparison.case.guideline),
        language=language,
    )
    words, draw = picture_words(language), before_after_svg
    if comparison.follow_up is None:
        # Before the second visit nothing is compared: what was found is drawn alone.
        charts = [replace(chart, rows=tuple(map(_found, chart.rows))) for chart in charts]
        words = replace(words, title=_("Measured at each spot"), after=words.found)
        draw = findings_svg

    def drawn(chart: Chart, layout: Layout) -> SafeString:
        # The drawing function escapes every text that it is given.
        return mark_safe(draw(chart, words, font="Source Sans 3", layout=layout))

    return [(chart.name, drawn(chart, WIDE), drawn(chart, NARROW)) for chart in charts]


def _found(row: PictureRow) -> PictureRow:
    alone = replace(row, before=None, after=row.before, comparable=True)
    return replace(alone, reduction="", interval="", decision="")
