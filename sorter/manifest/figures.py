"""Numbers as the manifest writes them: decimals with a dot, never an exponent, never a NaN."""

from __future__ import annotations

import math
from decimal import Decimal
from typing import Final

DIGITS: Final = 6


def rounded(value: float | None) -> float | None:
    """The number to six significant digits; None where there is none (NaN and minus infinity too).

    Digits before the dot are all kept: a distance of 1234567.8 m stays 1234568.
    """
    if value is None or math.isnan(value) or value == -math.inf:
        return None
    if value == 0 or math.isinf(value):
        return abs(value)  # no minus before a zero
    places = DIGITS - 1 - math.floor(math.log10(abs(value)))
    return round(value, max(places, 0))


def figure(value: float | None) -> str:
    """The shortest decimal text that reads back as the same number; empty for None."""
    if value is None:
        return ""
    if math.isinf(value):
        return "inf"
    text = format(Decimal(repr(value)), "f")
    return text.rstrip("0").rstrip(".") if "." in text else text


def number(text: str) -> float | None:
    """The number that the text stands for; None for empty text."""
    return float(text) if text else None
