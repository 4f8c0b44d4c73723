"""What the measured cards show: brackets of a rock pool, one after the other."""

from __future__ import annotations

from datetime import datetime, timedelta
from fractions import Fraction
from typing import Final

from cardmaking.shots import Shot

BRACKET: Final = 40
TIDE_OUT: Final = datetime(2026, 5, 17, 13, 0, 0)  # noqa: DTZ001 - a camera's clock has no zone


def shot(index: int) -> Shot:
    """One slice of one of many brackets, a minute apart."""
    bracket, position = divmod(index, BRACKET)
    taken = TIDE_OUT + timedelta(seconds=60 * bracket + 0.25 * position)
    return Shot(
        make="Canon",
        model="Canon EOS R8",
        serial="0417",
        lens="100mm F2.8 Macro",
        captured=taken,
        subsec=f"{taken.microsecond // 10000:02d}",
        exposure=Fraction(1, 160),
        bracket="focus",
        planned=BRACKET,
        near_m=0.30 + 0.004 * position,
        far_m=0.31 + 0.004 * position,
    )
