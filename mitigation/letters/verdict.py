"""What a comparison says in one line, and in a few plain sentences."""

from collections import Counter
from collections.abc import Collection, Mapping, Sequence

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from consult.letters.formats import listing, places
from consult.letters.words import number_words
from mitigation.calc.target import MET, MISSED
from mitigation.letters.phrases import Spot, place_of
from surveys.letters.order import Place

RANK = ("pass", "conditional-pass", "undecided", "conditional-fail", "fail")
"""Decisions, the best first: the worst of a place's quantities decides for the place."""


def decisions_by_place(spots: Sequence[Spot]) -> dict[Place, str]:
    """Each place with its worst decision; the client counts places, not quantities."""
    worst: dict[Place, str] = {}
    for spot in spots:
        place, decision = place_of(spot), spot["target"]["decision"]
        worst[place] = max(worst.get(place, decision), decision, key=RANK.index)
    return worst


def subject(spots: Sequence[Spot]) -> str:
    """The outcome in one line: what is known, and what is open."""
    count = Counter(decisions_by_place(spots).values())
    total = count.total()
    missed, undecided = sum(count[code] for code in MISSED), count["undecided"]
    if total == 1:
        return _single_subject(*count)
    if missed and undecided:
        return _("Target not yet proven: %(missed)s, %(open)s") % {
            "missed": ngettext("missed at %(count)s place", "missed at %(count)s places", missed)
            % {"count": number_words(missed)},
            "open": _("open at %(count)s") % {"count": number_words(undecided)},
        }
    words = {"total": number_words(total), "count": number_words(missed or undecided)}
    if missed == total:
        return _("Target missed at all %(total)s places") % words
    if missed:
        return _("Target missed at %(count)s of %(total)s places") % words
    if undecided == total:
        return _("Target not yet proven: open at all %(total)s places") % words
    if undecided:
        return _("Target not yet proven: open at %(count)s of %(total)s places") % words
    if narrow := count["conditional-pass"]:
        words["count"] = number_words(narrow)
        return _("Target reached at all %(total)s places, at %(count)s only just") % words
    return _("Target reached at all %(total)s places") % words


def _single_subject(decision: str) -> str:
    return {
        "pass": _("Target reached at the only place"),
        "conditional-pass": _("Target just reached at the only place"),
        "undecided": _("Target not yet proven at the only place"),
        "conditional-fail": _("Target just missed at the only place"),
        "fail": _("Target missed at the only place"),
    }[decision]


def waited_for(decisions: Mapping[Place, str], sleeping: Collection[Place]) -> str:
    """The sentence that the client waits for: of the beds, or without one of all places."""
    of_beds = [code for place, code in decisions.items() if place in sleeping]
    count = Counter(of_beds or decisions.values())
    met, missed = (sum(count[code] for code in group) for group in (MET, MISSED))
    if met == count.total():
        return _all_met(count["conditional-pass"], bool(of_beds))
    numbers = {"total": count.total(), "parts": _parts(met, missed, count["undecided"])}
    if count.total() == 1 and of_beds:
        if missed:
            return _("The place where you sleep is not in the target range.")
        return _("Whether the place where you sleep is in the target range is open.")
    if of_beds:
        return _("Of %(total)s places where you sleep, %(parts)s.") % numbers
    if count.total() == 1:
        return (
            _("The place that we measured is not in the target range.")
            if missed
            else _("Whether the place that we measured is in the target range is open.")
        )
    return _("Of %(total)s places that we measured, %(parts)s.") % numbers


def _all_met(narrow: int, of_beds: bool) -> str:
    if not narrow:
        return (
            _("Everywhere you sleep is now in the target range.")
            if of_beds
            else _("Every place that we measured is now in the target range.")
        )
    words = {"count": number_words(narrow)}
    if of_beds:
        return ngettext(
            "Everywhere you sleep is now in the target range, at %(count)s place only just.",
            "Everywhere you sleep is now in the target range, at %(count)s places only just.",
            narrow,
        ) % words  # fmt: skip
    return ngettext(
        "Every place that we measured is now in the target range, %(count)s only just.",
        "Every place that we measured is now in the target range, %(count)s only just.",
        narrow,
    ) % words  # fmt: skip


def _parts(met: int, missed: int, undecided: int) -> str:
    """Of some places: in the range, not in it, open."""
    if not met and not missed:
        return _("none is yet proven to be in the target range")
    if not met and not undecided:
        return _("none is in the target range")
    met_words = ngettext(
        "%(count)s is now in the target range", "%(count)s are now in the target range", met
    )
    parts = [met_words % {"count": met} if met else _("none is yet in the target range")]
    if missed:
        parts.append(ngettext("%(count)s is not", "%(count)s are not", missed) % {"count": missed})
    if undecided:
        words = ngettext("%(count)s is open", "%(count)s are open", undecided)
        parts.append(words % {"count": undecided})
    return listing(parts)


def counted(decisions: Mapping[Place, str]) -> str:
    """Certain and narrow results counted apart; nothing for a single place."""
    count = Counter(decisions.values())
    total = {"total": count.total()}
    if count.total() < 2:
        return ""
    if count["pass"] == count.total():
        return _("The target is met with certainty at all %(total)s places measured.") % total
    words = {
        "pass": _("met with certainty at %(count)s"),
        "conditional-pass": _("just met at %(count)s"),
        "undecided": _("open at %(count)s"),
        "conditional-fail": _("just missed at %(count)s"),
        "fail": _("not met at %(count)s"),
    }
    parts = [words[code] % {"count": count[code]} for code in RANK if count[code]]
    sentence = _("The target at all %(total)s places measured: %(parts)s.")
    return sentence % (total | {"parts": ", ".join(parts)})


def verdict_sentences(spots: Sequence[Spot], sleeping: Collection[Place] = ()) -> list[str]:
    """What the client waits for, the counts, and where the field rose."""
    decisions = decisions_by_place(spots)
    sentences = [waited_for(decisions, sleeping), counted(decisions)]
    if rose := risen(spots):
        sentences.append(_("The field rose at: %(spots)s.") % {"spots": places(rose)})
    return [" ".join(filter(None, sentences))]


def has_risen(spot: Spot) -> bool:
    """Whether the field rose by more than its uncertainty."""
    reduction = spot["reduction"]
    return bool(reduction and reduction["real"] and reduction["percent"] < 0)


def risen(spots: Sequence[Spot]) -> list[Place]:
    """Places with a certain rise."""
    return list(dict.fromkeys(place_of(spot) for spot in spots if has_risen(spot)))
