"""The columns of each file of a case folder: names, what is required, what is allowed."""

from dataclasses import dataclass

from django.utils.translation import gettext
from django.utils.translation import gettext_noop as _

from surveys.calc.measurands import Measurand, Quantity
from surveys.intake.sources import (
    APPLIANCES,
    CIRCUITS,
    GROUND_CHECKS,
    INSTRUMENTS,
    READINGS,
    REMEDIES,
    VISITS,
)
from surveys.models.references import LONGEST_REFERENCE

NOTE = 10_000
MOST_READINGS = 200_000
MOST_GROUND_CHECKS = 10_000
MOST_REGISTER_ROWS = 500  # instruments, visits: more is no single case


@dataclass(frozen=True)
class ColumnSpec:
    """A column: what a cell may hold, in words for people and as a list for validation."""

    name: str
    rule: str
    required: bool = False
    longest: int = 40
    words: tuple[str, ...] = ()
    is_date: bool = False
    is_text: bool = False

    @property
    def says(self) -> str:
        """What a cell may hold, in the reader's language; the words of the format stay."""
        rule = gettext(self.rule) if self.rule else ""
        if self.is_text:
            return f"{rule}, {at_most(self.longest)}"
        return " ".join(filter(None, (", ".join(self.words), rule)))


def at_most(characters: int) -> str:
    return gettext("at most %(n)s characters") % {"n": characters}


def _text(name: str, rule: str, longest: int, required: bool = False) -> ColumnSpec:
    return ColumnSpec(name, rule, required, longest, is_text=True)


def _word(name: str, words: tuple[str, ...], rule: str = "", required: bool = False) -> ColumnSpec:
    return ColumnSpec(name, rule, required, 40, words)


def _number(name: str, rule: str, required: bool = False) -> ColumnSpec:
    return ColumnSpec(name, rule, required)


def _date(name: str, rule: str, required: bool = False) -> ColumnSpec:
    return ColumnSpec(name, rule, required, is_date=True)


QUANTITIES = tuple(quantity.value for quantity in Quantity)
REFERENCES = tuple(code.reference for code in Measurand if code.reference)
KINDS = ("baseline", "follow-up")
USES = ("sleeping", "seating", "work", "other")
STATES = ("as-used", "trial")
PHASES = ("L1", "L2", "L3")
POLES = ("1", "2")
YES_NO = RCDS = ("yes", "no")
ITEM_STATES = ("proposed", "accepted", "declined", "done", "done differently", "not possible")
OUTLET_TESTS = ("ok", "fault", "not tested")
UNIT_WORDS = ("V/m", "kV/m", "mV", "V", "nT", "µT", "uT", "mG")

_AXIS = _("a number of 0 or more, <number under the range, >number over it")
_DATE = _("a date such as 2026-03-14")

INSTRUMENT_COLUMNS = (
    _text("instrument", _("the name on its label"), 80, required=True),
    _text("description", _("a text"), 200),
    _word("quantity", QUANTITIES, required=True),
    _word("axes", ("1", "3")),
    _word("unit", UNIT_WORDS, _("(as it goes with the quantity)"), required=True),
    _number("gain_percent", _("a number of 0 or more, expanded (k=2), in percent"), required=True),
    _number("resolution", _("a number above 0, in the unit of the row"), required=True),
    _number("noise", _("a number of 0 or more, in the unit of the row")),
    _number("floor", _("a number of 0 or more, in the unit of the row")),
    _number("ceiling", _("a number above the floor, in the unit of the row")),
    _number("low_hz", _("a number of 0 or more, in Hz")),
    _number("high_hz", _("a number above low_hz, in Hz")),
    _text("certificate", _("the number of the certificate"), 80),
    _date("calibrated_on", _DATE),
    _date("due_on", _("a date such as 2026-03-14, not before calibrated_on")),
    _text("maker", _("a text, the same in all rows of the instrument"), 80),
    _text("serial", _("a text, the same in all rows of the instrument"), 80),
    _text("laboratory", _("a text"), 120),
)
VISIT_COLUMNS = (
    _text("visit", _("a name of its own"), 80, required=True),
    _word("kind", KINDS, required=True),
    _date("date", _DATE, required=True),
    _text("assessor", _("a name"), 120),
    _number("temperature_c", _("a number, in °C")),
    _number("humidity_percent", _("a number from 0 to 100")),
    _number("supply_voltage", _("a number above 0, in V")),
    _text("deviations", _("what was done otherwise than the method says"), NOTE),
    _text("sampling", _("how the spots were chosen"), NOTE),
    _text("note", _("a text"), NOTE),
)
READING_COLUMNS = (
    _text("visit", _("a visit of visits.csv"), 80, required=True),
    _text("room", _("a name"), 80, required=True),
    _text("spot", _("a name"), 80, required=True),
    _word("use", USES, _("(empty = other; one for each spot)")),
    _word("quantity", QUANTITIES, required=True),
    _word("reference", REFERENCES, _("for the electric field; else empty")),
    _text("ground_point", _("a name"), 80),
    _text(
        "instrument", _("an instrument of instruments.csv with this quantity"), 80, required=True
    ),
    _number("x", _AXIS),
    _number("y", _AXIS),
    _number("z", _AXIS),
    _number(
        "total",
        _(
            "a number of 0 or more, <number under the range, >number over it; "
            "either a total or one to three axes"
        ),
    ),
    _word("unit", UNIT_WORDS, _("(as it goes with the quantity)"), required=True),
    _word("state", STATES, _("(empty = as-used)")),
    _text(
        "circuits_off",
        _("names of circuits and appliances, with semicolons between; * alone = the main switch"),
        NOTE,
    ),
    _text("taken_at", _("an hour"), 40),
    _text(
        "set_aside",
        _("why this reading does not count; mistyped = it never stood on the display"),
        NOTE,
    ),
    _number("height_m", _("a number of 0 or more, in m")),
    _number("body_distance_m", _("a number of 0 or more, in m")),
    _number("surface_distance_m", _("a number of 0 or more, in m")),
    _text("load", _("what was running"), 200),
    _text("note", _("a text"), NOTE),
)
GROUND_CHECK_COLUMNS = (
    _text("visit", _("a visit of visits.csv"), 80, required=True),
    _text("point", _("a name"), 80, required=True),
    _text("other_point", _("a name other than that of point"), 80),
    _number("voltage_v", _("a number of 0 or more, in V")),
    _word("outlet_test", OUTLET_TESTS, _("(empty = not tested)")),
    _text("note", _("a text"), NOTE),
)
CIRCUIT_COLUMNS = (
    _text("circuit", _("the name that circuits_off gives, without semicolons"), 80, required=True),
    _text("panel", _("the name of its panel"), 80),
    _text("label", _("what it feeds"), 200),
    _word("phase", PHASES, _("(empty = the only one, or not known)")),
    _number("rating_a", _("a number above 0, in A")),
    _word("rcd", RCDS, _("(empty = not known)")),
    _word("poles", POLES, _("(poles that its switch opens)")),
    _text("note", _("a text"), NOTE),
)
APPLIANCE_COLUMNS = (
    _text(
        "appliance",
        _("a name that no circuit has, without semicolons"),
        80,
        required=True,
    ),
    _text("circuit", _("a circuit of circuits.csv"), 80),
    _text("room", _("a room of readings.csv"), 80),
    _text("note", _("a text"), NOTE),
)
_LIST = _("names with semicolons between")
REMEDY_COLUMNS = (
    _text("item", _("a name of its own, without semicolons"), 40, required=True),
    _text("remedy", _("a kind of the catalogue"), 40, required=True),
    _text("circuits", _LIST, NOTE),
    _text("appliances", _LIST, NOTE),
    _text("room", _("a room of readings.csv"), 80),
    _text("spots", _("spots of the room, with semicolons between (empty = all of it)"), NOTE),
    _number("effect_db", _("a number, in dB (empty = that of the kind)")),
    _number("spread_db", _("a number of 0 or more, in dB (empty = that of the kind)")),
    _number("works_percent", _("a number from 0 to 100 (empty = that of the kind)")),
    _number("cost", _("a number of 0 or more")),
    _word("chosen", YES_NO, _("(empty = no)")),
    _word("state", ITEM_STATES, _("(empty = proposed)")),
    _date("done_on", _DATE),
    _text("done_by", _("a name"), 120),
    _text("note", _("a text"), 2_000),
)
MOST_ROWS = {
    INSTRUMENTS: MOST_REGISTER_ROWS,
    VISITS: MOST_REGISTER_ROWS,
    READINGS: MOST_READINGS,
    GROUND_CHECKS: MOST_GROUND_CHECKS,
    CIRCUITS: MOST_REGISTER_ROWS,
    APPLIANCES: MOST_REGISTER_ROWS,
    REMEDIES: MOST_REGISTER_ROWS,
}
COLUMNS = {
    INSTRUMENTS: INSTRUMENT_COLUMNS,
    VISITS: VISIT_COLUMNS,
    READINGS: READING_COLUMNS,
    GROUND_CHECKS: GROUND_CHECK_COLUMNS,
    CIRCUITS: CIRCUIT_COLUMNS,
    APPLIANCES: APPLIANCE_COLUMNS,
    REMEDIES: REMEDY_COLUMNS,
}


@dataclass(frozen=True)
class KeySpec:
    """A value of case.toml."""

    section: str
    key: str
    rule: str
    required: bool = False
    longest: int = 200
    words: tuple[str, ...] = ()

    @property
    def name(self) -> str:
        """The key with its section, as people write it."""
        return f"{self.section}.{self.key}" if self.section else self.key

    @property
    def says(self) -> str:
        """What it may be, in the reader's language."""
        return gettext(self.rule)


LANGUAGES = ("en", "de")
CASE_KEYS = (
    KeySpec(
        "",
        "reference",
        _("at most 40 characters, none of / \\ ? # %; empty = the next free one"),
        longest=LONGEST_REFERENCE,
    ),
    KeySpec("client", "name", _("a name of at most 120 characters"), True, 120),
    KeySpec("client", "email", _("an e-mail address"), False, 254),
    KeySpec("client", "language", _("en or de (empty = en)"), words=LANGUAGES),
    KeySpec("property", "address", _("a text"), True, 1000),
    KeySpec("property", "country", _("two letters, such as DE or US"), True),
    KeySpec(
        "property",
        "supply_voltage",
        _("a number above 0, in V (empty = 120 for US and CA, else 230)"),
    ),
    KeySpec(
        "property", "frequency", _("a number above 0, in Hz (empty = 60 for US and CA, else 50)")
    ),
    KeySpec("property", "phases", _("1, 2 (split) or 3 (empty = 1)"), words=("1", "2", "3")),
    KeySpec("assessment", "guideline", _("a guideline of the practice (empty = SBM-2015)")),
    KeySpec("assessment", "target", _("band 1 or 2 (empty = 2)"), words=("1", "2")),
    KeySpec("assessment", "placement_percent", _("a number from 0 to 100 (empty = 5)")),
)
