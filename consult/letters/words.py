"""The fixed words of letters and pages, in the language that is active."""

from collections.abc import Sequence

from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop

from consult.letters.countries import in_trade_words, protection

DECISIONS = {
    "pass": gettext_noop("met"),
    "conditional-pass": gettext_noop("just met: too close to the limit to be certain"),
    "conditional-fail": gettext_noop("just missed: too close to the limit to be certain"),
    "fail": gettext_noop("not met"),
    "undecided": gettext_noop("cannot be decided"),
}
SHORT_DECISIONS = {
    "pass": DECISIONS["pass"],
    "conditional-pass": gettext_noop("just met"),
    "conditional-fail": gettext_noop("just missed"),
    "fail": DECISIONS["fail"],
    "undecided": gettext_noop("open"),
}
MARKS = {
    "pass": "✓",
    "conditional-pass": "(✓)",
    "conditional-fail": "(▲)",
    "fail": "▲",
    "undecided": "?",
}
NOT_MET = frozenset({"conditional-fail", "fail"})

USES = {
    "sleeping": gettext_noop("sleeping"),
    "seating": gettext_noop("sitting"),
    "work": gettext_noop("working"),
    "other": gettext_noop("other use"),
}
VISIT_KINDS = {"baseline": gettext_noop("baseline"), "follow-up": gettext_noop("follow-up")}
OUTLET_TESTS = {
    "ok": gettext_noop("ok"),
    "fault": gettext_noop("FAULT"),
    "not tested": gettext_noop("not tested"),
}

PHRASES = (
    # words of the guideline tables
    gettext_noop("no anomaly"),
    gettext_noop("slight anomaly"),
    gettext_noop("severe anomaly"),
    gettext_noop("extreme anomaly"),
    gettext_noop("no concern"),
    gettext_noop("slight concern"),
    gettext_noop("severe concern"),
    gettext_noop("extreme concern"),
    gettext_noop(
        "A precautionary guideline for sleeping areas without official status. The published "
        "tables give no rule for a value on a bound."
    ),
    # what blocks a reduction
    "different measurand",
    gettext_noop("instrument out of calibration on the day of its visit"),
    gettext_noop("instrument without a certificate"),
    gettext_noop("no reading left at the other visit"),
    gettext_noop("follow-up before baseline"),
    gettext_noop("ground point found faulty"),
    gettext_noop("ground point at more than 50 V to another"),
    # cautions beside it
    gettext_noop("other ground point"),
    gettext_noop("fewer readings than at the baseline"),
    gettext_noop("fewer ground points than at the baseline"),
    gettext_noop("other instrument"),
    gettext_noop("humidity above 70 %"),
    gettext_noop("supply voltage differs by more than 5 %"),
    gettext_noop("body nearer than 1.5 m"),
    gettext_noop("surface nearer than 10 cm"),
    gettext_noop("other load"),
    gettext_noop("ground point not tried at that visit"),
    gettext_noop("no ground point named"),
    gettext_noop("measured before the last work was done"),
    gettext_noop("circuits off while read as used"),
    # flags of a value
    gettext_noop("near the floor"),
    gettext_noop("under the standard's range"),
    gettext_noop("one axis"),
    gettext_noop("two axes"),
    "on a bound",
    gettext_noop("instrument too coarse for this target"),
)

# What a reader is told in other words than those that a comparison keeps.
TOLD_AS = {
    "different measurand": gettext_noop("measured by another method the second time"),
    "on a bound": gettext_noop("exactly on a limit"),
}

NUMBER_WORDS = (
    "0",
    gettext_noop("one"),
    gettext_noop("two"),
    gettext_noop("three"),
    gettext_noop("four"),
    gettext_noop("five"),
    gettext_noop("six"),
    gettext_noop("seven"),
    gettext_noop("eight"),
    gettext_noop("nine"),
    gettext_noop("ten"),
    gettext_noop("eleven"),
    gettext_noop("twelve"),
)

RULES = {
    "resultant-1": gettext_noop(
        "Three axes are combined as E = √(x² + y² + z²); a total on the display is used as it is. "
        "One axis alone is taken as the dominant one and flagged “one axis”; two are combined and "
        "flagged “two axes”. (Resultant field of IEC 61786 and IEEE 644.)"
    ),
    "censored-1": gettext_noop(
        "A display under the instrument's floor counts as the floor in the upper bound and as zero "
        "in the lower one: the value is the upper bound, marked “<” (no axis detected) or “≤” "
        "(some detected). Over range the value is the lower bound, marked “>”."
    ),
    "uncertainty-1": gettext_noop(
        "u² = (g·E)² + (p·E)² + a², where g is half the expanded gain uncertainty of the "
        "certificate, p the relative uncertainty of putting the probe back in the same place, and "
        "a² = resolution²/12 + noise². Printed is U = 2u, about 95 %. (GUM 5.1.)"
    ),
    "near-floor-1": gettext_noop(
        "Below 5·a the value is biased upward and flagged “near the floor” (JCGM 102, 9.3). Values "
        "below the range of IEC 61786-2 (1 V/m, 100 nT) are flagged."
    ),
    "highest-1": gettext_noop(
        "The value of a spot is the highest of its readings taken with the house as its people use "
        "it; readings set aside do not count, and the reason is given. Trials never count."
    ),
    "highest-2": gettext_noop(
        "The value of a spot is the highest of its readings taken with the house as its people use "
        "it; readings set aside do not count, and the reason is given. Trials never count. A "
        "reading on a ground point found faulty does not count beside one on another point."
    ),
    "latest-1": gettext_noop(
        "Each spot and quantity counts as it was last measured on each side of the work; the day "
        "is given where it is not that of the latest visit."
    ),
    "band-1": gettext_noop(
        "With the bounds b1 < b2 < b3: band 1 if E < b1; band 2 if b1 ≤ E < b2; band 3 if "
        "b2 ≤ E ≤ b3; band 4 if E > b3. A value on an inner bound gets the more cautious band: our "
        "choice, because no rule for it is published."
    ),
    "target-1": gettext_noop(
        "The value after the work is judged against the upper limit T of the target band, with a "
        "guard band w = 2·u(T) (non-binary rule of ILAC-G8:09/2019)."
    ),
    "target-2": gettext_noop(
        "The value after the work is judged against the upper limit T of the target band, with a "
        "guard band w = 2·u(T) (non-binary rule of ILAC-G8:09/2019). Nothing is decided by a "
        "reading on a ground point found faulty."
    ),
    "reduction-1": gettext_noop(
        "Reduction = 100·(1 − A/B) % and 20·log10(B/A) dB, B before and A after. Its 95 % interval "
        "follows from the spread of ln(A/B); a gain error that both visits share under one "
        "certificate cancels. Where a value is a bound, the figure is “at least” and rounded down."
    ),
    "reduction-2": gettext_noop(
        "Reduction = 100·(1 − A/B) % and 20·log10(B/A) dB, B before and A after. Its 95 % interval "
        "follows from the spread of ln(A/B); a gain error that both visits share under one "
        "certificate cancels. Where a value is a bound, the figure is “at least” and rounded "
        "toward no change."
    ),
    "attribution-1": gettext_noop(
        "Each source has a real amplitude of either sign at the phase angle of its circuit, and "
        "what no switch takes off is one phasor; the meter shows the magnitude of their sum on "
        "each axis. Wanted is every solution that fits the trial, each with its weight. The model "
        "error is the smallest at which the readings fit."
    ),
    "read-state-1": gettext_noop(
        "Where nothing can be attributed, the reading of just the state that the plan makes bounds "
        "the field by the triangle inequality."
    ),
    "prediction-1": gettext_noop(
        "A = B·ρ·(1 + p·z2)·(1 + p·z3) + a·z5: the finding B, the ratio ρ of the plan to "
        "everything on, and what putting the probe back and the display add."
    ),
    "selection-1": gettext_noop(
        "The cheapest set of items under which every row that counts has at least the wanted "
        "probability; fewer items on a tie."
    ),
    "comparable-1": gettext_noop(
        "No reduction is given for different measurands, for an instrument without a certificate "
        "in force on the day of the visit, or without a reading left at the other visit."
    ),
    "comparable-2": gettext_noop(
        "No reduction is given for different measurands, for an instrument without a certificate "
        "in force on the day of the visit, for a ground point found faulty or at more than 50 V to "
        "another, without a reading left at the other visit, or where the follow-up was before the "
        "baseline."
    ),
    "safety": gettext_noop(
        "Readings above the general public's reference level (ICNIRP 2010), a faulty outlet test "
        "or more than 50 V between ground points stop the survey."
    ),
}


def decision_words(code: str) -> str:
    return _(DECISIONS[code])


def short_decision_words(code: str) -> str:
    """The same for a table."""
    return _(SHORT_DECISIONS[code])


def phrase(text: str) -> str:
    """A fixed phrase in the active language; an unknown one as it stands."""
    return _(TOLD_AS.get(text, text)) if text in PHRASES else text


def phrases(texts: Sequence[str]) -> str:
    return "; ".join(phrase(text) for text in texts)


def band_words(words: Sequence[str]) -> tuple[str, str, str, str]:
    none, slight, severe, extreme = (phrase(word) for word in words)
    return none, slight, severe, extreme


def number_words(count: int) -> str:
    """Small numbers in letters, as in a sentence."""
    return _(NUMBER_WORDS[count]) if 0 < count < len(NUMBER_WORDS) else str(count)


def rule_sentence(rule: str) -> str:
    return _(RULES[rule]) if rule in RULES else ""


def spot_name(room: str, spot: str) -> str:
    return f"{room}, {spot}"


# -- Cautions that always print where they belong ------------------------------------------------


def precaution_sentences() -> list[str]:
    """On every letter that names a band."""
    return [
        _(
            "The guideline is a precautionary one. It is no legal limit, and meeting it or not "
            "has no legal meaning."
        ),
        _("This letter makes no medical statement."),
        _(
            "The results hold for the spots and the hours at which we measured, with the house in "
            "the state described; fields change with what is switched on, here and next door."
        ),
    ]


def stop_words(country: str = "") -> str:
    """Over the dangers that a visit met."""
    return in_trade_words(_("Stop: keep clear, and call a licensed electrician"), country)


def unit_sentences(units: set[str]) -> list[str]:
    """Where the client's unit is not the engineer's."""
    if "mG" not in units:
        return []
    return [_("1 mG = 100 nT (0.1 µT). The engineer's part gives nT.")]


def wiring_sentences(country: str) -> list[str]:
    """On every letter that speaks of work still to be done."""
    sentences = [
        _("Work on wiring is done only by a licensed electrician, under the local code."),
        _("Never disconnect a protective earth."),
        _(
            "Conductive shielding must be bonded to earth and protected (%(protection)s) by the "
            "electrician. It does nothing against a magnetic field of the mains."
        )
        % {"protection": protection(country)},
    ]
    return [in_trade_words(sentence, country) for sentence in sentences]


def ground_sentences(country: str = "", *, with_rod: bool = True) -> list[str]:
    """On every letter that lists ground points; of a rod only where one was used."""
    rod = [_("Locate buried services before driving a ground rod.")] if with_rod else []
    tester = _(
        "A three-lamp outlet tester cannot see a bootleg earth (earth pin joined to neutral "
        "inside the outlet); “ok” by such a tester is no proof of a sound earth."
    )
    return [*rod, in_trade_words(tester, country)]
