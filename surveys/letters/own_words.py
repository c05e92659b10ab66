"""Where the assessor's own words stand on page one: the summary on top, advice as an opinion."""

from collections.abc import Sequence

from django.utils.translation import gettext as _

from consult.intake.pictures import as_data_url
from consult.letters.content import Block, heading, note, paragraph, sketch
from surveys.letters.facts import SketchFacts, WordFacts


def summary(words: WordFacts) -> list[Block]:
    return [paragraph(text) for text in words.summary]


def recommendations(words: WordFacts) -> list[Block]:
    """Marked as an opinion, and whose it is (ISO/IEC 17025:2017, 7.8.7)."""
    if not words.recommendations:
        return []
    title = _("Recommendations (opinion)")
    if words.author:
        title = _("Recommendations (opinion of %(who)s)") % {"who": words.author}
    return [note(title, words.recommendations)]


def sketches(rows: Sequence[SketchFacts]) -> list[Block]:
    """Where was measured, as the assessor drew or photographed it."""
    if not rows:
        return []
    drawn = [sketch(as_data_url(row.picture, "image/jpeg"), _about(row)) for row in rows]
    return [heading(_("Sketch")), *drawn]


def _about(row: SketchFacts) -> str:
    return _("Sketch of where was measured: %(name)s") % {"name": row.name}
