"""What a comparison says in one line, and in a few plain sentences."""

from collections.abc import Sequence

from django.utils.translation import gettext as _

from consult.letters.formats import places
from consult.letters.words import NOT_MET, number_words
from mitigation.letters.phrases import Spot

Place = tuple[str, str]
"""Room and spot."""


def by_place(spots: Sequence[Spot]) -> dict[Place, str]:
    """Each place with its worst verdict: "not met", "undecided" or "met".

    A place may carry several measurands; the client counts places.
    """
    verdicts: dict[Place, str] = {}
    rank = {"met": 0, "undecided": 1, "not met": 2}
    for spot in spots:
        decision = spot["target"]["decision"]
        verdict = "met"
        if decision in NOT_MET:
            verdict = "not met"
        elif decision == "undecided":
            verdict = "undecided"
        place = spot["room"], spot["spot"]
        verdicts[place] = max(verdicts.get(place, "met"), verdict, key=lambda word: rank[word])
    return verdicts


def subject(spots: Sequence[Spot]) -> str:
    """The outcome in one line."""
    verdicts = by_place(spots)
    total = len(verdicts)
    not_met = sum(verdict == "not met" for verdict in verdicts.values())
    undecided = sum(verdict == "undecided" for verdict in verdicts.values())
    counts = {"total": number_words(total), "count": number_words(not_met)}
    if total == 1:
        return _single_subject(not_met, undecided)
    if not_met == total:
        return _("Not met at any of %(total)s spots") % counts
    if not_met == 1:
        return _("Not met at one of %(total)s spots") % counts
    if not_met:
        return _("Not met at %(count)s of %(total)s spots") % counts
    if undecided == total:
        return _("Cannot be decided at any of %(total)s spots") % counts
    if undecided == 1:
        return _("Met at all but one of %(total)s spots; there it cannot be decided") % counts
    if undecided:
        counts["count"] = number_words(undecided)
        return _("Cannot be decided at %(count)s of %(total)s spots; met at the others") % counts
    return _("Met at all %(total)s spots") % counts


def _single_subject(not_met: int, undecided: int) -> str:
    if not_met:
        return _("Not met at the only spot")
    return _("Cannot be decided at the only spot") if undecided else _("Met at the only spot")


def verdict_sentences(spots: Sequence[Spot]) -> list[str]:
    """Where the target is met, where not, where it is open, and where the field rose."""
    verdicts = by_place(spots)
    not_met = [place for place, verdict in verdicts.items() if verdict == "not met"]
    undecided = [place for place, verdict in verdicts.items() if verdict == "undecided"]
    met = len(verdicts) - len(not_met) - len(undecided)
    sentences = []
    if met == len(verdicts):
        sentences.append(_("The target is met at every spot."))
    elif met == 1:
        counts = {"total": number_words(len(verdicts))}
        sentences.append(_("The target is met at one of %(total)s spots.") % counts)
    elif met:
        counts = {"count": number_words(met), "total": number_words(len(verdicts))}
        sentences.append(_("The target is met at %(count)s of %(total)s spots.") % counts)
    if not_met:
        sentences.append(_("It is not met at: %(spots)s.") % {"spots": places(not_met)})
    if undecided:
        sentences.append(_("It cannot be decided at: %(spots)s.") % {"spots": places(undecided)})
    rose = risen(spots)
    if rose:
        sentences.append(_("The field rose at: %(spots)s.") % {"spots": places(rose)})
    return [" ".join(sentences)] if sentences else []


def has_risen(spot: Spot) -> bool:
    """Whether the field rose by more than its uncertainty."""
    reduction = spot["reduction"]
    return bool(reduction and reduction["real"] and reduction["percent"] < 0)


def risen(spots: Sequence[Spot]) -> list[Place]:
    """Places with a certain rise."""
    names = [(spot["room"], spot["spot"]) for spot in spots if has_risen(spot)]
    return list(dict.fromkeys(names))
