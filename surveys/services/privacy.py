"""What measurements hold of people: the names and words around the numbers.

The numbers of a home stay when its people and its address are gone. They speak of nobody then, and
they are what the practice's placement uncertainty and the history of its instruments rest on.
"""

from typing import Any

from django.utils.translation import gettext_lazy as _

from consult.services.privacy.fates import Blank, Part, Table, fields, nobodys, stored_key
from surveys.models.uids import RandomUid

# It may have been made from what the row said; another one lets the same folder come in again.
ANOTHER_UID = Blank(RandomUid())


def _file_name(source: Any) -> str:
    """Every file that came in is kept as a ZIP, whatever it was."""
    name = str(source.name)
    return f"files/{source.pk}-{name}" + ("" if name.lower().endswith(".zip") else ".zip")


def _named_place(
    model: str, label: Any, stand_in: str, above: str, plain: str, *forms: str
) -> Table:
    """A place at home: its name may be somebody's in each of its forms, its numbers are not."""
    fates = fields(plain=f"id {plain}", name=Blank(stand_in))
    fates |= {name: Blank(stand_in) for name in forms}
    fates["uid"] = ANOTHER_UID
    return Table(model, label, fates, client=above, without=_("its name"))


TABLES = [
    Table(
        "surveys.SourceFile",
        _("files that came in"),
        fields(goes="id property name stored sha256 received_at received_by"),
        client="property",
        file=stored_key,
        file_name=_file_name,
    ),
    _named_place("surveys.Room", _("rooms"), "[room {pk}]", "property", "property", "folded"),
    _named_place("surveys.Spot", _("spots"), "[spot {pk}]", "room", "room use", "folded"),
    _named_place("surveys.Panel", _("panels"), "[panel {pk}]", "property", "property", "folded"),
    Table(
        "surveys.Circuit",
        _("circuits"),
        fields(
            plain="id panel phase rating_a rcd poles",
            name=Blank("[circuit {pk}]"),
            folded=Blank("[circuit {pk}]"),
            label=Blank(),
            note=Blank(),
            uid=ANOTHER_UID,
        ),
        client="panel",
        without=_("its name, what it feeds, notes"),
    ),
    Table(
        "surveys.Appliance",
        _("appliances"),
        fields(
            plain="id property circuit room",
            name=Blank("[appliance {pk}]"),
            folded=Blank("[appliance {pk}]"),
            note=Blank(),
            uid=ANOTHER_UID,
        ),
        client="property",
        without=_("its name, notes"),
    ),
    _named_place("surveys.GroundPoint", _("ground points"), "[point {pk}]", "property", "property"),
    Table(
        "surveys.Visit",
        _("visits"),
        fields(
            plain="id property kind date position temperature_c humidity_percent "
            "supply_voltage_v measured_by sealed_at sealed_by",
            label=Blank("[visit {pk}]"),
            assessor=Blank(),
            note=Blank(),
            instructions=Blank(),
            deviations=Blank(),
            sampling=Blank(),
            source=Blank(None),
            uid=ANOTHER_UID,
        ),
        client="property",
        without=_("label, who measured, notes, the file it came in"),
    ),
    Table(
        "surveys.GroundCheck",
        _("ground checks"),
        fields(
            plain="id visit point other_point voltage_v outlet_test", note=Blank(), uid=ANOTHER_UID
        ),
        client="visit",
        without=_("notes"),
    ),
    Table(
        "surveys.Reading",
        _("readings"),
        fields(
            plain="id visit position spot measurand ground_point instrument calibration "
            "x x_mark y y_mark z z_mark total total_mark unit state "
            "main_switch_off body_distance_m surface_distance_m height_m recorded_at",
            circuits_off=Blank(),
            taken_at_text=Blank(),
            taken_at=Blank(None),
            device_at=Blank(None),
            uid=ANOTHER_UID,
            set_aside=Blank("[erased]", if_filled=True),
            load=Blank(),
            note=Blank(),
        ),
        client="visit",
        without=_("circuits off, time, load, notes, and why it was set aside"),
    ),
    nobodys("surveys.CircuitOff", _("circuits that were off"), "id reading circuit"),
    nobodys("surveys.ApplianceOff", _("appliances that were off"), "id reading appliance"),
    Table(
        "surveys.Correction",
        _("corrections"),
        fields(plain="id reading replacement made_by made_at", reason=Blank("[erased]")),
        client="reading",
        without=_("why"),
    ),
    Table(
        "surveys.AssessorWords",
        _("the assessor's words for letters"),
        fields(plain="id visit written_by written_at", summary=Blank(), recommendations=Blank()),
        client="visit",
        without=_("the words"),
    ),
    Table(
        "surveys.PlaceRemark",
        _("remarks on places"),
        fields(plain="id visit spot", text=Blank("[erased]")),
        client="visit",
        without=_("the words"),
    ),
    Table(
        "surveys.LetterVisit",
        _("visits of letters"),
        fields(goes="id letter visit"),
        client="letter",
    ),
    nobodys("surveys.Guideline", _("guidelines"), "id code title source note is_built_in"),
    nobodys("surveys.Band", _("bands"), "id guideline measurand number upper name"),
    nobodys("surveys.Instrument", _("instruments"), "id name maker serial is_retired"),
    nobodys(
        "surveys.Calibration",
        _("certificates"),
        "id instrument quantity description axes unit gain_percent resolution noise floor "
        "ceiling low_hz high_hz certificate calibrated_on due_on laboratory",
    ),
]

PART = Part(TABLES)
