"""Names of the array types, and the constants that array functions share."""

from typing import Final

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
Codes = NDArray[np.int8]

GRAVITY: Final = 9.80665
"""Standard gravity, m/s^2 (CGPM 1901)."""
