"""The time that an hour typed on a day stands for."""

import re
from datetime import date, datetime, time, tzinfo

_HOUR = re.compile(
    r"""(?:(?P<day>\d{4}-\d{2}-\d{2})(?:T|\s+))?
    (?P<hour>\d{1,2})
    (?:[:.h](?P<minute>\d{2})(?::(?P<second>\d{2})(?:\.\d+)?)?)?
    \s*(?P<half>[ap]\.?m\.?)?\s*(?P<word>uhr|h)?
    \s*(?P<zone>z|[+-]\d{2}:?\d{2})?""",
    re.IGNORECASE | re.VERBOSE | re.ASCII,
)


def time_of(text: str, day: date, zone: tzinfo) -> datetime | None:
    """The time that `text` tells for a visit of `day`; None where it tells none for sure.

    An hour alone needs a word that makes it one ("9 pm", "21 Uhr"). A day in the text goes before
    the day of the visit, an offset behind such a day before `zone`. An hour that the clocks
    skipped, or that they showed twice, is no time for sure.
    """
    match = _HOUR.fullmatch(text.strip())
    if match is None or not (match["minute"] or match["half"] or match["word"]):
        return None
    if match["zone"] and not match["day"]:  # "21:10-21:20" is a while, and no offset
        return None
    try:
        clock = time(_hour(match), int(match["minute"] or 0), int(match["second"] or 0))
        on = date.fromisoformat(match["day"]) if match["day"] else day
        if match["zone"]:
            zone = datetime.strptime(match["zone"].upper(), "%z").tzinfo or zone
    except ValueError:
        return None
    if not 1900 <= on.year <= 9000:  # outside, no other zone could tell it
        return None
    early = datetime.combine(on, clock, tzinfo=zone)
    return early if early.utcoffset() == early.replace(fold=1).utcoffset() else None


def _hour(match: re.Match[str]) -> int:
    hour = int(match["hour"])
    if not match["half"]:
        return hour
    if not 1 <= hour <= 12:
        raise ValueError("no hour of half a day")
    return hour % 12 + (12 if match["half"][0] in "pP" else 0)
