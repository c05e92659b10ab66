"""What was measured, with which instrument, where, and against which guideline."""

from surveys.models.corrections import Correction
from surveys.models.guidelines import Band, Guideline
from surveys.models.instruments import Calibration, Instrument
from surveys.models.letters import LetterVisit
from surveys.models.measurands import Measurand, Quantity
from surveys.models.places import Circuit, GroundPoint, Panel, Room, Spot
from surveys.models.visits import GroundCheck, Reading, SourceFile, Visit

__all__ = [
    "Band",
    "Calibration",
    "Circuit",
    "Correction",
    "GroundCheck",
    "GroundPoint",
    "Guideline",
    "Instrument",
    "LetterVisit",
    "Measurand",
    "Panel",
    "Quantity",
    "Reading",
    "Room",
    "SourceFile",
    "Spot",
    "Visit",
]
