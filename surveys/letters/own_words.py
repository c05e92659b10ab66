"""Where the assessor's own words stand on page one: the summary on top, advice as an opinion."""

from django.utils.translation import gettext as _

from consult.letters.content import Block, note, paragraph
from surveys.letters.facts import WordFacts


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
