"""The plan letter: one sheet for the client's decision, one for an engineer who checks it."""

from collections.abc import Mapping, Sequence
from dataclasses import asdict
from typing import Any

from django.utils.translation import gettext as _
from django.utils.translation import override

from consult.letters.content import (
    Block,
    Head,
    bullets,
    column,
    fine_print,
    head_content,
    heading,
    lead,
    note,
    one_line,
    paragraph,
    pictures,
    table,
    whole_letter,
)
from consult.letters.formats import NBSP, Formats, picture_words
from consult.letters.words import band_words, precaution_sentences, rule_sentence, wiring_sentences
from mitigation.calc.prediction import PREDICTION
from mitigation.calc.selection import SELECTION
from mitigation.letters.plan_facts import OfferFacts
from mitigation.letters.plan_words import option_content
from surveys.models import Measurand

KIND = "plan"


def offered(offer: OfferFacts, language: str) -> dict[str, Any]:
    """The words of a version, as page and letter have them; frozen with it."""
    with override(language):
        formats = Formats(language, offer.country)
        options = [option_content(option, offer, formats) for option in offer.options]
        return {
            "language": language,
            "number": offer.number,
            "options": options,
            "may_be_parted": offer.may_be_parted,
            "currency": offer.currency,
            "tax_line": offer.tax_line,
            "valid_until": offer.valid_until.isoformat(),
            "valid_words": _("This offer holds until %(day)s.")
            % {"day": formats.day(offer.valid_until)},
            "words": offer.words,
            "target_words": target_words(offer),
            "cautions": [*wiring_sentences(offer.country), *precaution_sentences()],
            "picture_words": asdict(expected_words(language)),
            "rules": list(offer.rules),
            "engineer": engineer_blocks(offer, formats),
        }


def expected_words(language: str) -> Any:
    """The words of the picture: the second mark is foretold, not measured."""
    words = picture_words(language)
    return type(words)(
        **asdict(words)
        | {
            "title": _("Before, and what to expect"),
            "after": _("expected"),
            "rose": _("may rise"),
            "reduction": _("in the target range"),
        }
    )


def target_words(offer: OfferFacts) -> str:
    band = band_words(offer.guideline.band_words)[offer.target_band - 1]
    return _(
        "The target is the band “%(band)s” of the guideline %(guideline)s, or a lower one."
    ) % {
        "band": band,
        "guideline": offer.guideline.code,
    }


def plan_content(*, frozen: Mapping[str, Any], head: Head) -> dict[str, Any]:
    """The letter of a version: its frozen words under the head of a letter."""
    language = frozen["language"]
    with override(language):
        formats = Formats(language, head.country)
        content = head_content(
            head,
            formats,
            kind=KIND,
            document=_("Plan of remedies: a proposal for your decision"),
            subject=_subject(frozen),
        )
        return whole_letter(
            content,
            about=_("Plan %(number)s for %(place)s")
            % {"number": frozen["number"], "place": one_line(head.property_address)},
            client=client_part(frozen),
            engineer_heading=_("The engineer's part"),
            engineer=frozen["engineer"],
            rules=frozen["rules"],
        )


def _subject(frozen: Mapping[str, Any]) -> str:
    options = frozen["options"]
    if len(options) == 1:
        return _("What we propose, what it costs and what it will probably do")
    return _("%(n)d options: what they cost and what they will probably do") % {"n": len(options)}


def client_part(frozen: Mapping[str, Any]) -> list[Block]:
    """What to do, what it costs, what to expect; then the picture of the first option."""
    blocks: list[Block] = []
    several = len(frozen["options"]) > 1
    for option in frozen["options"]:
        if several:
            blocks.append(heading(f"{option['title']}: {option['cost_words']}"))
        blocks += [lead(option["lead"]), _items_table(option)]
        if option["places"]:
            blocks.append(_places_table(option))
        blocks.append(paragraph(" ".join(filter(None, [option["failing"], *option["as_before"]]))))
    if frozen["words"]:
        blocks.insert(0, paragraph(frozen["words"]))
    blocks += [
        paragraph(" ".join(filter(None, [frozen["tax_line"], frozen["valid_words"]]))),
        note(_("How to answer"), answer_sentences(frozen)),
    ]
    first = frozen["options"][0]  # the page of the plan has the pictures of all options
    if first["charts"]:
        title = _("What to expect in the picture")
        blocks.append(heading(f"{title}: {first['title']}" if several else title))
        blocks.append(pictures(first["charts"], frozen["picture_words"], single=False))
    return [*blocks, fine_print(_("Please note"), frozen["cautions"])]


def answer_sentences(frozen: Mapping[str, Any]) -> list[str]:
    """How a client accepts, declines or asks."""
    sentences = [
        _("Use the link that we e-mail you, or log in: there you accept, decline or ask."),
        _("Without the internet: tick, sign and send this letter back, or call us."),
    ]
    if frozen["may_be_parted"]:
        sentences.append(
            _("You may take single items. What to expect then changes, and we tell you how.")
        )
    return sentences


def _items_table(option: Mapping[str, Any]) -> Block:
    rows = [
        [
            item["what"],
            item["where"],
            " ".join(filter(None, [item["why"], _("Done by %(who)s.") % {"who": item["who"]}])),
            item["cost_words"],
        ]
        for item in option["items"]
    ]
    rows.append([_("Total"), "", "", option["cost_words"]])
    columns = [
        column(_("What"), 18),
        column(_("Where"), 22),
        column(_("Why, and who does it"), 42),
        column(_("Cost"), 18, number=True),
    ]
    return table(_("What is to be done"), columns, [("", rows)])


def _places_table(option: Mapping[str, Any]) -> Block:
    rows = [
        [place["place"], f"{place['quantity']}: {place['before']}", place["after"], place["words"]]
        for place in option["places"]
    ]
    columns = [
        column(_("Place"), 24),
        column(_("Before"), 24),
        column(_("To be expected"), 28),
        column(_("How sure"), 24),
    ]
    return table(_("What it will probably do"), columns, [("", rows)])


def engineer_blocks(offer: OfferFacts, formats: Formats) -> list[Block]:
    """Rows with their figures, what was tried, rules, assumptions, what would change the answer."""
    blocks = [
        heading(_("How this was computed")),
        bullets([f"{rule}: {rule_sentence(rule)}" for rule in _rules_in_use(offer)]),
    ]
    if offer.trials:
        blocks += [heading(_("What was tried")), bullets(offer.trials)]
    for option in offer.options:
        blocks.append(_figures(option.rows, option.letter, formats))
    return [
        *blocks,
        heading(_("Assumptions, and what would change the answer")),
        bullets(
            [
                _(
                    "Effects of remedies are house assumptions of ours, not measured in this home; "
                    "each has a spread that the intervals contain."
                ),
                _(
                    "4,000 draws with a fixed seed; intervals hold 95 % of them. Probability: the "
                    "share of the draws under the target if every item works as it should. "
                    "Overall: each item works as often as such items do."
                ),
                _(
                    "A reading of the very state that the plan makes would replace the model; so "
                    "would a trial of a source that was not tried."
                ),
                _("Wanted at each sleeping place: %(percent)s.")
                % {"percent": formats.percent(f"{100 * offer.wanted:.0f}")},
            ]
        ),
    ]


def _rules_in_use(offer: OfferFacts) -> list[str]:
    """The rules that a row stands on, and those of every plan."""
    bases = {row["basis"] for option in offer.options for row in option.rows}
    always = {PREDICTION, SELECTION}
    return [rule for rule in offer.rules if rule in bases | always]


def _figures(rows: Sequence[Mapping[str, Any]], letter: str, formats: Formats) -> Block:
    lines = []
    for row in rows:
        predicted = row["predicted"]
        error = (
            "" if row["model_error"] is None else formats.percent(f"{100 * row['model_error']:g}")
        )
        figures = (
            [f"{predicted[name]:.3g}" for name in ("median", "low", "high")] if predicted else []
        )
        lines.append(
            [
                f"{row['room']}, {row['spot']}",
                f"{Measurand(row['measurand']).short} [{row['unit']}]",
                formats.number(f"{row['before']:.3g}"),
                f"{formats.number(figures[0])} ({formats.number(figures[1])} … "
                f"{formats.number(figures[2])})" if figures else _("not known"),
                _share(predicted and predicted["probability"], formats),
                _share(predicted and predicted["overall"], formats),
                NBSP.join(filter(None, [row["basis"], error])),
            ]
        )  # fmt: skip
    columns = [
        column(_("Place"), 19),
        column(_("Quantity"), 15),
        column(_("Before"), 9, number=True),
        column(_("Median (95 %)"), 19, number=True),
        column(_("Probability"), 15, number=True),
        column(_("Overall"), 11, number=True),
        column(_("Basis, model error"), 12),
    ]
    caption = _("Option %(letter)s in figures") % {"letter": letter}
    return table(caption, columns, [("", lines)], small=True)


def _share(value: float | None, formats: Formats) -> str:
    return "–" if value is None else formats.number(f"{value:.2f}")
