"""What limits the results, in plain words: another method, a meter out of date, damp air."""

from collections.abc import Iterator, Sequence

from django.utils.translation import gettext as _

from consult.letters.formats import Formats, places
from mitigation.letters.context import OutcomeContext
from mitigation.letters.phrases import Spot, place_of
from surveys.letters.limits import damp_days, expired_meters
from surveys.letters.order import Place

DAMP = "humidity above 70 %"


def limit_sentences(spots: Sequence[Spot], context: OutcomeContext, formats: Formats) -> list[str]:
    """One sentence for each thing that a reader of page one has to know."""
    is_damp = any(DAMP in spot["cautions"] for spot in spots)
    return [
        *_changed_method(spots),
        *expired_meters(context.instruments, formats),
        *_uncertified(spots),
        *(damp_days(context.visits, formats) if is_damp else ()),
        *_faulty_ground(spots),
    ]


def _where(spots: Sequence[Spot], block: str) -> list[Place]:
    return list(dict.fromkeys(place_of(spot) for spot in spots if block in spot["blocks"]))


def _changed_method(spots: Sequence[Spot]) -> Iterator[str]:
    if where := _where(spots, "different measurand"):
        yield _(
            "The electric field was measured by another method the second time. The two methods "
            "give different figures, so before and after cannot be compared here: %(spots)s."
        ) % {"spots": places(where)}


def _uncertified(spots: Sequence[Spot]) -> Iterator[str]:
    if where := _where(spots, "instrument without a certificate"):
        yield _(
            "A meter without a certificate of calibration was used here, so nothing is proved: "
            "%(spots)s."
        ) % {"spots": places(where)}


def _faulty_ground(spots: Sequence[Spot]) -> Iterator[str]:
    for block, sentence in (
        (
            "ground point found faulty",
            _("The ground point was found faulty, so nothing read against it is proved: "
              "%(spots)s."),
        ),
        (
            "ground point at more than 50 V to another",
            _("The ground point stood at more than 50 V to another, so nothing read against it is "
              "proved: %(spots)s."),
        ),
    ):  # fmt: skip
        if where := _where(spots, block):
            yield sentence % {"spots": places(where)}
