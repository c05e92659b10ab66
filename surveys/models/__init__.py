"""What was measured, with which instrument, where, and against which guideline."""

from surveys.models.circuits import Appliance, Circuit, Panel
from surveys.models.corrections import Correction
from surveys.models.guidelines import Band, Guideline
from surveys.models.instruments import Calibration, Instrument
from surveys.models.letters import LetterVisit
from surveys.models.measurands import Measurand, Quantity
from surveys.models.places import GroundPoint, Room, Spot
from surveys.models.visits import ApplianceOff, CircuitOff, GroundCheck, Reading, SourceFile, Visit
from surveys.models.words import AssessorWords, PlaceRemark

__all__ = [
    "Appliance",
    "ApplianceOff",
    "AssessorWords",
    "Band",
    "Calibration",
    "Circuit",
    "CircuitOff",
    "Correction",
    "GroundCheck",
    "GroundPoint",
    "Guideline",
    "Instrument",
    "LetterVisit",
    "Measurand",
    "Panel",
    "PlaceRemark",
    "Quantity",
    "Reading",
    "Room",
    "SourceFile",
    "Spot",
    "Visit",
]
