"""Numbers as the manifest writes them: decimals with a dot, never an exponent, never a NaN."""

from __future__ import annotations

import math
from decimal import Decimal
from numbers import Integral
from typing import Final, SupportsFloat

DIGITS: Final = 6


def rounded(value: SupportsFloat | None) -> float | None:
    """The number to six significant digits; None where there is none (NaN and minus infinity too).

    Digits before the dot are all kept: a distance of 1234567.8 m stays 1234568. Any real number is
    taken, and a number of Python's own comes back.
    """
    own = _own(value)
    if own is None or isinstance(own, int):
        return own
    if math.isnan(own) or own == -math.inf:
        return None
    if own == 0 or math.isinf(own):
        return abs(own)  # no minus before a zero
    places = DIGITS - 1 - math.floor(math.log10(abs(own)))
    return round(own, max(places, 0))


def figure(value: SupportsFloat | None) -> str:
    """The shortest decimal text that reads back as the same number; empty for None.

    Any real number is taken: one of NumPy's, a Decimal or a Fraction is written as its float is.
    """
    own = _own(value)
    if own is None:
        return ""
    if isinstance(own, int):
        return str(own)
    if math.isinf(own):
        return "inf"
    text = format(Decimal(repr(own)), "f")
    return text.rstrip("0").rstrip(".") if "." in text else text


def _own(value: SupportsFloat | None) -> float | None:
    """The number as Python's own float or int, whose text says nothing of its type; None for None.

    Whole numbers stay whole, for a float keeps no more than 53 bits of them.
    """
    if value is None or type(value) is float:
        return value
    return int(value) if isinstance(value, Integral) else float(value)


def number(text: str) -> float | None:
    """The number that the text stands for; None for empty text."""
    return float(text) if text else None
