"""What differs from country to country: its name in an address, and the words of its trade."""

from django.utils.translation import get_language, gettext_noop
from django.utils.translation import gettext as _

COUNTRIES = {
    "AT": gettext_noop("Austria"),
    "BE": gettext_noop("Belgium"),
    "CA": gettext_noop("Canada"),
    "CH": gettext_noop("Switzerland"),
    "CZ": gettext_noop("Czech Republic"),
    "DE": gettext_noop("Germany"),
    "DK": gettext_noop("Denmark"),
    "ES": gettext_noop("Spain"),
    "FR": gettext_noop("France"),
    "GB": gettext_noop("United Kingdom"),
    "IE": gettext_noop("Ireland"),
    "IT": gettext_noop("Italy"),
    "LI": gettext_noop("Principality of Liechtenstein"),
    "LU": gettext_noop("Grand Duchy of Luxembourg"),
    "NL": gettext_noop("Netherlands"),
    "PL": gettext_noop("Poland"),
    "US": gettext_noop("United States of America"),
}

_NORTH_AMERICA = (
    ("a protective earth", "an equipment ground"),
    ("protective earth", "equipment ground"),
    ("bootleg earth", "bootleg ground"),
    ("earth pin", "ground pin"),
    ("sound earth", "sound ground"),
    ("bonded to earth", "bonded to ground"),
    ("Authorised", "Authorized"),
)
_BRITISH_ISLES = (
    ("a licensed electrician", "a registered electrician"),
    ("local code", "wiring regulations"),
    ("outlet", "socket"),
    ("Outlet", "Socket"),
)
_TRADE_WORDS = {
    "US": _NORTH_AMERICA,
    "CA": _NORTH_AMERICA,
    "GB": _BRITISH_ISLES,
    "IE": _BRITISH_ISLES,
}


def country_line(country: str, sender_country: str) -> str:
    """The last line of an address abroad, in capitals; nothing inside the sender's country."""
    code = country.upper()
    if not code or not sender_country or code == sender_country.upper():
        return ""
    return _(COUNTRIES[code]).upper() if code in COUNTRIES else code


def in_trade_words(text: str, country: str) -> str:
    """A sentence of ours as the trade of the country words it; other languages keep theirs."""
    if not (get_language() or "en").startswith("en"):
        return text
    for ours, theirs in _TRADE_WORDS.get(country.upper(), ()):
        text = text.replace(ours, theirs)
    return text


def protection(country: str) -> str:
    """What a residual-current device is called."""
    return "GFCI" if country.upper() in ("US", "CA") else "RCD"
