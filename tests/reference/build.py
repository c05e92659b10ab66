"""The guideline tables that published values are held against."""

import numpy as np

from surveys.calc.measurands import Measurand

# Standard of Building Biology Testing Methods, SBM-2008 and SBM-2015, evaluation guidelines for
# sleeping areas; seen in a public copy. Both editions have the same AC values.
SBM = {
    Measurand.ELECTRIC_FIELD_GROUND: np.array([1.0, 5.0, 50.0]),
    Measurand.ELECTRIC_FIELD_POTENTIAL_FREE: np.array([0.3, 1.5, 10.0]),
    Measurand.BODY_VOLTAGE: np.array([10.0, 100.0, 1000.0]),
    Measurand.MAGNETIC_FLUX_DENSITY: np.array([20.0, 100.0, 500.0]),
}
