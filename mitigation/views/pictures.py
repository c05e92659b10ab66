"""The pictures of a comparison, drawn for the reader of the page."""

from dataclasses import replace

from django.utils.safestring import SafeString, mark_safe
from django.utils.translation import get_language
from django.utils.translation import gettext as _

from consult.letters.formats import picture_words
from consult.letters.picture import PictureRow, before_after_svg, findings_svg
from mitigation.comparison import Comparison
from mitigation.letters.outcome import outcome_panels
from surveys.services.facts import guideline_facts


def case_pictures(comparison: Comparison) -> list[tuple[str, SafeString]]:
    """One picture per measurand, with its name; none while there is nothing to show."""
    language = get_language() or "en"
    uses = {
        (row.spot.room.name, row.spot.name, row.measurand): row.spot.use for row in comparison.rows
    }
    panels = outcome_panels(
        outcome=comparison.as_json(),
        uses=uses,
        guideline=guideline_facts(comparison.case.guideline),
        language=language,
    )
    words, draw = picture_words(language), before_after_svg
    if comparison.follow_up is None:
        # Before the second visit nothing is compared: what was found is drawn alone.
        panels = [replace(one, rows=tuple(map(_found, one.rows))) for one in panels]
        words = replace(words, title=_("Measured at each spot"), after=words.found)
        draw = findings_svg
    # The drawing function escapes every text that it is given.
    return [(one.name, mark_safe(draw(one, words, font="Source Sans 3"))) for one in panels]


def _found(row: PictureRow) -> PictureRow:
    alone = replace(row, before=None, after=row.before, comparable=True)
    return replace(alone, reduction="", interval="", decision="")
