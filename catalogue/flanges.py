"""Sizes of steel pipe flanges: outside diameter and thickness by size and class.

ASME B16.5, classes 150, 300 and 600, NPS 1/2 to 24, in the inches that the standard prints;
thickness is the least thickness of the flange without raised face, in the editions up to 1996.
From memory of the published tables; what was seen of them is in ``tests/unit/catalogue``.
"""

import math
from typing import Final, NamedTuple

INCH: Final = 25.4
SOURCE: Final = "ASME B16.5, from memory"
DENSITY: Final = 7850.0
"""kg/m^3 of carbon steel, which a flange of stainless steel is at most 2 % above."""


class Flange(NamedTuple):
    """Outside diameter and least thickness, in."""

    outside: float
    thickness: float

    def mass(self, bore: float) -> float:
        """Return the mass of the ring in kg; its bolt holes are not taken off, a hub not added.

        ``bore`` in mm; 0 for a blind flange.
        """
        outside, thickness = self.outside * INCH, self.thickness * INCH
        return DENSITY * math.pi / 4 * (outside**2 - bore**2) * thickness / 1e9


CLASSES: Final = (150, 300, 600)

_ROWS: Final = """
1/2   3.50 0.44   3.75 0.56   3.75 0.56
3/4   3.88 0.50   4.62 0.62   4.62 0.62
1     4.25 0.56   4.88 0.69   4.88 0.69
1-1/4 4.62 0.62   5.25 0.75   5.25 0.81
1-1/2 5.00 0.69   6.12 0.81   6.12 0.88
2     6.00 0.75   6.50 0.88   6.50 1.00
2-1/2 7.00 0.88   7.50 1.00   7.50 1.12
3     7.50 0.94   8.25 1.12   8.25 1.25
3-1/2 8.50 0.94   9.00 1.19   9.00 1.38
4     9.00 0.94   10.00 1.25  10.75 1.50
5     10.00 0.94  11.00 1.38  13.00 1.75
6     11.00 1.00  12.50 1.44  14.00 1.88
8     13.50 1.12  15.00 1.62  16.50 2.19
10    16.00 1.19  17.50 1.88  20.00 2.50
12    19.00 1.25  20.50 2.00  22.00 2.62
14    21.00 1.38  23.00 2.12  23.75 2.75
16    23.50 1.44  25.50 2.25  27.00 3.00
18    25.00 1.56  28.00 2.38  29.25 3.25
20    27.50 1.69  30.50 2.50  32.00 3.50
24    32.00 1.88  36.00 2.75  37.00 4.00
"""


def _read() -> dict[tuple[str, int], Flange]:
    found: dict[tuple[str, int], Flange] = {}
    for line in _ROWS.split("\n"):
        if not line:
            continue
        size, *numbers = line.split()
        for place, rating in enumerate(CLASSES):
            outside, thickness = numbers[2 * place : 2 * place + 2]
            found[size, rating] = Flange(float(outside), float(thickness))
    return found


FLANGES: Final = _read()
"""Flanges by NPS as it is printed, and class."""

_PIPES: Final = (
    0.840, 1.050, 1.315, 1.660, 1.900, 2.375, 2.875, 3.500, 4.000, 4.500, 5.563, 6.625, 8.625,
    10.750, 12.750, 14.0, 16.0, 18.0, 20.0, 24.0,
)  # fmt: skip

SIZES: Final = tuple(dict.fromkeys(size for size, _ in FLANGES))
"""Sizes as the standard writes them, NPS."""

PIPES: Final = dict(zip(SIZES, _PIPES, strict=True))
"""Outside diameter of the pipe that a flange goes over, in (ASME B36.10M)."""
