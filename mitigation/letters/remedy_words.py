"""The built-in kinds of remedies in the active language; what a practice typed stays as typed."""

from collections.abc import Sequence

from django.utils.translation import gettext
from django.utils.translation import gettext_noop as _

NAMES = {
    "demand-switch": _("demand switch"),
    "shielded-cable": _("shielded cable"),
    "rerouted-wiring": _("rerouted wiring"),
    "shielded-surface": _("shielded surface"),
    "bonded-shield": _("bonded shield"),
    "earthed-appliance": _("earthed appliance"),
    "unplugged-appliance": _("unplugged appliance"),
    "moved-appliance": _("moved appliance"),
    "wiring-correction": _("wiring correction"),
    "moved-bed": _("moved bed"),
}
INSTRUCTIONS = (
    _("Poles that it opens; loads that keep it awake; measure with it asleep."),
    _("Screen bonded at one end; insulation."),
    _("Insulation, continuity, polarity."),
    _(
        "Bond, residual-current protection (RCD/GFCI), resistance of the bond. An earthed sheet "
        "can raise the field of what lies above it."
    ),
    _("Resistance of the bond."),
    _("Continuity of the protective conductor."),
    _("Net current (clamp) before and after, insulation."),
    _("The effect is given with the item, from a reading at the new place."),
)


def remedy_name(name: str) -> str:
    """The name of a kind: a built-in one translated, and one that follows it under its name."""
    return gettext(name) if name in NAMES.values() else name


def remedy_instructions(text: str) -> str:
    """What to bond, protect and test: built-in words translated."""
    return gettext(text) if text in INSTRUCTIONS else text


def place_words(room: str, spots: Sequence[str]) -> str:
    """A room with the spots that are meant; the room alone means all of them."""
    return f"{room} ({'; '.join(spots)})" if spots else room
