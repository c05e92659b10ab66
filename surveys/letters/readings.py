"""The log of the readings in a letter: the trials with their results, and the annex with all."""

from collections.abc import Iterable, Sequence

from django.utils.translation import gettext as _

from consult.letters.content import Block, column, heading, paragraph, small_lines, table
from consult.letters.formats import NBSP, Formats
from consult.letters.words import spot_name
from surveys.intake.sources import READINGS
from surveys.letters.facts import LoggedReading, ReadingFacts, SetAsideFacts
from surveys.models import Measurand, displays
from surveys.models.measurands import measurand_symbol, measurand_words

DASH = "–"
MOST_READINGS = 120
"""Above so many the readings are enclosed alone: they fill pages that nobody reads."""

DECIDES = "◆"
NOT_IN_FORCE = "†"
"""At a value read on an instrument without a certificate in force on that day."""


def reading_log(log: Sequence[LoggedReading], formats: Formats) -> list[Block]:
    """All readings as they were written down, in the order in which they were taken."""
    if not log:
        return []
    if len(log) > MOST_READINGS:
        return [
            paragraph(
                _(
                    "The visits have %(count)s readings, more than are printed. All of them stand "
                    "in the file %(file)s, which the PDF file of this letter carries."
                )
                % {"count": len(log), "file": READINGS}
            )
        ]
    intro = _(
        "Number, place, quantity, display, instrument, ground point, time, what was noted. "
        "%(mark)s marks the reading on which the value of its place rests."
    ) % {"mark": DECIDES}
    blocks = [paragraph(intro)]
    for visit in dict.fromkeys(row.visit for row in log):
        lines = [_line(row, formats) for row in log if row.visit == visit]
        blocks += [heading(visit), small_lines(lines)]
    return blocks


def _line(row: LoggedReading, formats: Formats) -> str:
    reading = row.reading
    state = [_("trial, off: %(what)s") % {"what": row.off or DASH}] if row.is_trial else []
    if row.aside:
        state.append(_("does not count: %(why)s") % {"why": row.aside})
    parts = [
        spot_name(row.room, row.spot),
        measurand_symbol(row.measurand),
        shown(reading, formats) + ("" if row.is_certified else f"{NBSP}{NOT_IN_FORCE}"),
        reading.instrument,
        reading.ground_point,
        reading.taken_at,
        *state,
        reading.load,
        *distances_of(reading, formats),
        reading.note,
    ]
    mark = f" {DECIDES}" if row.decides else ""
    return f"{row.position}{mark}  " + " · ".join(filter(None, parts))


def distances_of(reading: ReadingFacts, formats: Formats) -> list[str]:
    words = (
        (_("%(metres)s m above the floor"), reading.height_m),
        (_("body %(metres)s m away"), reading.body_distance_m),
        (_("surface %(metres)s m away"), reading.surface_distance_m),
    )
    return [
        sentence % {"metres": formats.given(metres)}
        for sentence, metres in words
        if metres is not None
    ]


def shown(reading: ReadingFacts, formats: Formats) -> str:
    """The display, its numbers in the reader's language."""
    return formats.shown(displays.joined(reading.cells, reading.unit))


def distance_words(log: Iterable[LoggedReading], formats: Formats) -> str:
    """How far the body was from the potential-free meter, as it was recorded."""
    free = [
        row.reading
        for row in log
        if row.measurand == Measurand.ELECTRIC_FIELD_POTENTIAL_FREE and not row.is_trial
    ]
    if not free:
        return ""
    distances_m = sorted({row.body_distance_m for row in free if row.body_distance_m is not None})
    missing = sum(row.body_distance_m is None for row in free)
    parts = []
    if distances_m:
        metres = f"{formats.given(distances_m[0])}–{formats.given(distances_m[-1])}"
        metres = metres if len(distances_m) > 1 else formats.given(distances_m[0])
        parts.append(f"{metres}{NBSP}m")
    if missing:
        parts.append(_("not recorded for %(count)s readings") % {"count": missing})
    return _("Distance of the body from the potential-free meter, as recorded: %(parts)s.") % {
        "parts": ", ".join(parts)
    }


def trials(log: Sequence[LoggedReading], formats: Formats) -> list[Block]:
    """Each switching trial with what it came to; they never count as results."""
    rows = [
        [
            spot_name(row.room, row.spot),
            measurand_symbol(row.measurand),
            row.off or DASH,
            row.result,
            formats.day(row.reading.day),
            row.reading.note or DASH,
        ]
        for row in log
        if row.is_trial
    ]
    if not rows:
        return []
    columns = [
        column(_("Place"), 24),
        column(_("Quantity"), 14),
        column(_("Switched off"), 16),
        column(_("Result"), 13, number=True),
        column(_("Date"), 14),
        column(_("Note"), 19),
    ]
    caption = _("Switching trials, which do not count as results")
    return [heading(_("Trials")), table(caption, columns, [("", rows)], small=True)]


def readings_set_aside(items: Sequence[SetAsideFacts], formats: Formats) -> list[Block]:
    if not items:
        return []
    rows = [
        [
            spot_name(item.room, item.spot),
            measurand_words(item.measurand),
            formats.day(item.day),
            formats.shown(item.shown),
            item.reason,
        ]
        for item in items
    ]
    columns = [
        column(_("Place"), 22),
        column(_("Quantity"), 22),
        column(_("Date"), 15),
        column(_("Display"), 17),
        column(_("Reason"), 24),
    ]
    return [
        heading(_("Readings set aside")),
        table(_("Documented, but not counted"), columns, [("", rows)], small=True),
    ]
