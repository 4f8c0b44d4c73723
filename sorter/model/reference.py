"""What a slice says in standard Exif that its stack's result is to say too."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import TypeAlias

Value: TypeAlias = tuple[int, bytes]
"""The type of a value (TIFF 6.0: 2 ASCII, 3 SHORT, 5 RATIONAL, …), and its bytes, big-endian."""

Values: TypeAlias = Mapping[int, Value]
"""The values of a directory by their tags."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Reference:
    """The tags of a slice by their directories: IFD0, Exif, GPS. What it does not say is not there."""

    main: Values = field(default_factory=dict)
    exif: Values = field(default_factory=dict)
    gps: Values = field(default_factory=dict)
