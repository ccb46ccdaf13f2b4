"""The conversions that published equations in US units need.

Inside the project every quantity is SI; equations are kept in the units they were printed in, so
that their constants can be compared with the page, and are wrapped by these factors.
"""

from __future__ import annotations

from typing import Final

MM_PER_INCH: Final = 25.4
M_PER_FT: Final = 0.3048
HA_PER_KM2: Final = 100.0
KM2_PER_MI2: Final = (5280.0 * M_PER_FT) ** 2 / 1.0e6
HA_PER_MI2: Final = KM2_PER_MI2 * HA_PER_KM2
M3S_PER_CFS: Final = M_PER_FT**3
