"""How a row of the comparison comes about: each rule with the numbers that it was given."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from consult.calc.rounding import rounded
from consult.letters.formats import Formats
from consult.letters.words import decision_words, phrase, phrases
from mitigation.calc.reduction import REDUCTION
from mitigation.calc.target import TARGET
from mitigation.comparison import Row
from mitigation.comparison.comparable import COMPARABLE
from mitigation.letters.evidence import probability_words
from surveys.calc.bands import BAND
from surveys.calc.highest import HIGHEST
from surveys.calc.resultant import CENSORED, RESULTANT
from surveys.calc.uncertainty import UNCERTAINTY
from surveys.models import Reading
from surveys.results import SpotFinding, cells_of

FIGURES = 4  # enough to do the sum again and see the printed figure come out
RELATIONS = {
    "pass": "E < T − w",
    "conditional-pass": "T − w ≤ E < T",
    "conditional-fail": "T ≤ E ≤ T + w",
    "fail": "E > T + w",
}


@dataclass(frozen=True)
class Step:
    """A rule and what it made of the numbers."""

    rule: str
    lines: tuple[str, ...]


@dataclass(frozen=True)
class Measured:
    """One side of a row, with its word: before or after."""

    word: str
    finding: SpotFinding
    reading: Reading


def steps(
    row: Row, *, bounds: Sequence[float], placement: float, formats: Formats, compared: bool
) -> list[Step]:
    """The rules in the order in which they are applied; a rule with nothing to say is left out.

    Before there is a follow-up nothing is `compared`.
    """
    sides = list(_sides(row))
    shown = _Shown(formats)
    applied: list[tuple[str, list[str]]] = [
        (RESULTANT, [_resultant(side, shown) for side in sides]),
        (CENSORED, [line for side in sides for line in _censored(side, shown)]),
        (UNCERTAINTY, [_uncertainty(side, placement, shown) for side in sides]),
        (HIGHEST, [_highest(side) for side in sides]),
        (BAND, [_band(side, bounds, shown) for side in sides]),
    ]
    if compared:
        applied += [
            (TARGET, _target(row, shown)),
            (COMPARABLE, _comparable(row)),
            (REDUCTION, _reduction(row, placement, shown)),
        ]
    return [Step(rule, tuple(lines)) for rule, lines in applied if lines]


class _Shown:
    """Numbers as they are printed here."""

    def __init__(self, formats: Formats) -> None:
        self.formats = formats

    def __call__(self, value: float) -> str:
        digits = rounded(value, significant=FIGURES).value
        return self.formats.number(digits.rstrip("0").rstrip(".") if "." in digits else digits)

    def given(self, value: float) -> str:
        return self.formats.given(value)


def _sides(row: Row) -> Iterator[Measured]:
    if (before := row.pair.before) is not None:
        yield Measured(_("before"), before.finding, before.reading)
    if (after := row.pair.after) is not None:
        yield Measured(_("after"), after.finding, after.reading)


def _resultant(side: Measured, shown: _Shown) -> str:
    finding, summands = side.finding, cells_of(side.reading).summand
    relation = {"": "=", ">": ">"}.get(finding.qualifier, "≤")
    value = f"{shown(finding.value)} {finding.unit}"
    numbers = summands[~np.isnan(summands)].tolist()
    if len(numbers) == 1:
        return f"{side.word}: E {relation} {value}"
    squares = " + ".join(f"{shown.given(number)}²" for number in numbers)
    return f"{side.word}: E {relation} √({squares}) = {value}"


def _censored(side: Measured, shown: _Shown) -> list[str]:
    finding = side.finding
    if not cells_of(side.reading).mark.any():
        return []
    lower, upper = shown(finding.lower), shown(finding.value)
    if finding.qualifier == ">":
        return [f"{side.word}: E ≥ {lower} {finding.unit}"]
    line = f"{side.word}: {lower} ≤ E ≤ {upper} {finding.unit}"
    if finding.qualifier:
        return [line]
    return [f"{line}; " + _("the bounds differ by less than 0.1·u, so what was not detected does "
                            "not matter")]  # fmt: skip


def _uncertainty(side: Measured, placement: float, shown: _Shown) -> str:
    finding = side.finding
    value, gain, p, a = (
        shown(part) for part in (finding.value, finding.gain, placement, finding.additive)
    )
    return (
        f"{side.word}: g = {gain}, p = {p}, a = {a} {finding.unit}; "
        f"u = √(({gain}·{value})² + ({p}·{value})² + {a}²) = {shown(finding.u)} {finding.unit}, "
        f"U = 2u = {shown(2 * finding.u)} {finding.unit}"
    )


def _highest(side: Measured) -> str:
    words = ngettext(
        "reading %(number)s, the only one that counts",
        "reading %(number)s, the highest of %(n)s that count",
        side.finding.n_readings,
    )
    return f"{side.word}: " + words % {
        "number": side.reading.position,
        "n": side.finding.n_readings,
    }


def _band(side: Measured, bounds: Sequence[float], shown: _Shown) -> str:
    first, second, third = (shown.given(bound) for bound in bounds)
    ranges = (
        f"E < {first}", f"{first} ≤ E < {second}", f"{second} ≤ E ≤ {third}", f"E > {third}",
    )  # fmt: skip
    words = _("band %(band)s") % {"band": side.finding.band}
    return f"{side.word}: {words}, {ranges[side.finding.band - 1]}"


def _target(row: Row, shown: _Shown) -> list[str]:
    target, side = row.result["target"], row.pair.after
    limit, decision = target["limit"], target["decision"]
    if limit is None:
        return []
    if side is None:
        return [f"T = {shown.given(limit)}; " + _("no value at the follow-up: cannot be decided")]
    after = side.finding
    lines = [
        f"T = {shown.given(limit)} {after.unit}, w = 2·u(T) = {shown(row.guard)} {after.unit}; "
        f"T − w = {shown(limit - row.guard)}, T + w = {shown(limit + row.guard)}"
    ]
    if decision in RELATIONS:
        lines.append(f"{_relation(row)}: {decision_words(decision)}")
    elif side.ground_fault:
        lines.append(
            _("%(why)s at the follow-up: cannot be decided") % {"why": phrase(side.ground_fault)}
        )
    elif not after.certified:
        lines.append(
            _("no certificate was in force on the day of the follow-up: cannot be decided")
        )
    else:
        lines.append(_("the bounds of the value lie on both sides of T: cannot be decided"))
    if target["probability"] is not None:
        words = probability_words(target["probability"], shown.formats)
        lines.append(f"P(< T) {words if words[0] in '<>' else f'= {words}'}")
    return lines


def _relation(row: Row) -> str:
    """The relation that holds; a pass on fewer than three axes is held back below T - w too."""
    decision, side = row.result["target"]["decision"], row.pair.after
    assert side is not None
    after = side.finding
    limit = row.result["target"]["limit"]
    judged = after.lower if after.qualifier == ">" else after.value
    if decision == "conditional-pass" and after.axes in (1, 2) and judged < limit - row.guard:
        return f"{RELATIONS['pass']}, " + _("but not read on all three axes")
    return RELATIONS[decision]


def _reduction(row: Row, placement: float, shown: _Shown) -> list[str]:
    first, second, reduction = row.pair.before, row.pair.after, row.result["reduction"]
    if first is None or second is None or not row.result["comparable"]:
        return []
    before, after = first.finding, second.finding
    if reduction is None:
        return [_no_figure(before, after)]
    a, b, p = shown(after.value), shown(before.value), shown(placement)
    ratio = after.value / before.value
    gains = f" + {shown(before.gain)}² + {shown(after.gain)}²"
    shared = before.calibration == after.calibration
    lines = [
        f"A/B = {a}/{b} = {shown(ratio)}; 100·(1 − A/B) = {shown(reduction['percent'])} %; "
        f"20·log10(B/A) = {shown(reduction['db'])} dB",
        f"σ = √(2·{p}² + ({shown(before.additive)}/{b})² + ({shown(after.additive)}/{a})²"
        f"{'' if shared else gains}) = {shown(row.sigma)}",
        f"A/B·exp(±2σ): {shown(reduction['percent_low'])} % ... "
        f"{shown(reduction['percent_high'])} %",
    ]
    if shared:
        lines.append(_("the same certificate at both visits: its gain error cancels"))
    if reduction["at_least"]:
        lines.append(_("a value is a bound: the end nearer to 0 is printed as “at least”"))
    elif not reduction["real"]:
        lines.append(_("the interval reaches over 0 %: the change is not certain"))
    return lines


def _no_figure(before: SpotFinding, after: SpotFinding) -> str:
    if before.qualifier in ("<", "≤") and after.qualifier in ("<", "≤"):
        return _("no figure: both fields were too weak for the meter")
    if before.qualifier == after.qualifier == ">":
        return _("no figure: both fields were over the range of the meter")
    return _("no figure: the bounds leave open whether the field is lower or higher")


def _comparable(row: Row) -> list[str]:
    blocks, cautions = row.result["blocks"], row.result["cautions"]
    lines = [
        f"{_('not comparable')}: {phrases(blocks)}"
        if blocks
        else _("nothing keeps the two from being compared")
    ]
    if cautions:
        lines.append(f"{_('cautions')}: {phrases(cautions)}")
    return lines
