"""How was measured and computed: documents, guideline, rules, and what the results cover."""

from collections.abc import Sequence
from typing import Any

from django.utils.translation import gettext as _

from consult.letters.content import Block, Head, bullets, column, heading, paragraph, table
from consult.letters.formats import NBSP, Formats
from consult.letters.words import band_words, rule_sentence
from surveys.letters.facts import GuidelineFacts
from surveys.models import Measurand
from surveys.models.measurands import measurand_symbol, measurand_words

ASSUMED_PLACEMENT_PERCENT = 5.0


def method(
    rules: Sequence[str],
    formats: Formats,
    placement_percent: float,
    measurands: Sequence[str],
) -> list[Block]:
    """Documents with their editions, then the rules that computed the numbers."""
    sentences = [f"{rule}: {rule_sentence(rule)}".rstrip(": ") for rule in rules]
    return [
        heading(_("Method and rules of computing")),
        bullets(
            [
                *_measuring_sentences(measurands),
                _documents(),
                *sentences,
                _placement(placement_percent, formats),
                _("Ends of intervals are rounded outward; “<”, “≤” and “>” and “at least” so that "
                  "they stay true."),
            ]
        ),
    ]  # fmt: skip


def _placement(percent: float, formats: Formats) -> str:
    words = {"percent": f"{formats.given(percent)}{NBSP}%"}
    if percent == ASSUMED_PLACEMENT_PERCENT:
        return (
            _(
                "Placement p in this case: %(percent)s, a relative standard uncertainty. It is an "
                "assumption of ours and not the result of own repeats."
            )
            % words
        )
    return _(
        "Placement p in this case: %(percent)s, a relative standard uncertainty, set by the "
        "practice for this case."
    ) % words  # fmt: skip


def _documents() -> str:
    return _(
        "Documents: IEC 61786-1:2013 and IEC 61786-2:2014, IEEE 644-2019 (measuring); JCGM "
        "100:2008, 102:2011 and 106:2012 (uncertainty, conformity); ILAC-G8:09/2019 (decision "
        "rule); ICNIRP 2010 (reference levels)."
    )


def _measuring_sentences(measurands: Sequence[str]) -> list[str]:
    """Only of what was measured."""
    sentences = {
        Measurand.ELECTRIC_FIELD_GROUND: _(
            "Ground-referenced electric field: meter close to the body, a hand on its ground "
            "terminal, ground lead down and away, everybody behind the meter; the reading includes "
            "the influence of the person who holds it."
        ),
        Measurand.ELECTRIC_FIELD_POTENTIAL_FREE: _(
            "Potential-free electric field: floating meter, at least 10 cm (4 in) from conductive "
            "surfaces, bodies at least 1.5 m (5 ft) away."
        ),
        Measurand.MAGNETIC_FLUX_DENSITY: _(
            "Magnetic flux density depends on the load: what was running is noted with the reading."
        ),
    }
    applied = [sentence for code, sentence in sentences.items() if code in measurands]
    if {Measurand.ELECTRIC_FIELD_GROUND, Measurand.ELECTRIC_FIELD_POTENTIAL_FREE} <= set(
        measurands
    ):
        applied.append(
            _("The two electric fields are different quantities and are never set in one ratio.")
        )
    return applied


def symbols(measurands: Sequence[str]) -> str:
    """What the short names in the tables mean."""
    pairs = [f"{measurand_symbol(code)}: {measurand_words(code)}" for code in measurands]
    return "; ".join(pairs) + "."


def guideline_table(
    guideline: GuidelineFacts, formats: Formats, measurands: Sequence[tuple[str, str]]
) -> list[Block]:
    """The bounds that were applied, and where they are applied by analogy."""
    rows = []
    for code, unit in measurands:
        first, second, third = (formats.given(bound) for bound in guideline.bounds[code])
        rows.append(
            [f"{measurand_words(code)} [{unit}]", f"< {first}", f"{first} – {second}",
             f"{second} – {third}", f"> {third}"]
        )  # fmt: skip
    columns: list[dict[str, Any]] = [column(_("Quantity"), 32)]
    for place, words in enumerate(band_words(guideline.band_words), start=1):
        columns.append(column(f"{place}: {words}", 17))
    name = f"{guideline.code} {guideline.edition}".strip()
    return [
        heading(_("Guideline")),
        table(_("Bands of %(guideline)s") % {"guideline": name}, columns, [("", rows)], small=True),
        paragraph(
            _(
                "The guideline is written for sleeping places. At other places it is applied by "
                "analogy."
            )
        ),
    ]


def scope(head: Head) -> list[Block]:
    """What the results cover, what is opinion, what others said (ISO/IEC 17025:2017, 7.8)."""
    signatory = head.sender.signatory or head.sender.name
    return [
        heading(_("Opinions, statements of others, scope")),
        bullets(
            [
                _(
                    "Opinions and interpretations: what page one says of causes and of what is "
                    "left to do. They rest on the results above and are held by %(who)s."
                )
                % {"who": signatory},
                _(
                    "Statements of others, which we did not check: * by the client; what was "
                    "running and what work was done, where the notes name it."
                ),
                _(
                    "The results hold only for the places and the hours at which they were "
                    "measured."
                ),
                _("Pass this document on only as a whole. Signed: %(who)s.") % {"who": signatory},
            ]
        ),
    ]
