"""Paths as calls take them."""

from __future__ import annotations

import os
from pathlib import Path
from typing import TypeAlias

StrPath: TypeAlias = str | os.PathLike[str]


def optional_path(path: StrPath | None) -> Path | None:
    """The path; None for none."""
    return None if path is None else Path(path)
