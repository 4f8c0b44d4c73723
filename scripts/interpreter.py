"""The interpreter that has what the scripts need: that of .venv, which scripts/test makes."""

from __future__ import annotations

import os
import sys
from pathlib import Path

HOME = Path(__file__).resolve().parents[1]


def use_ours() -> None:
    """Goes on in .venv's interpreter, where there is one and this is another."""
    ours = HOME / ".venv" / "bin" / "python"
    if ours.exists() and Path(sys.prefix).resolve() != ours.parents[1].resolve():
        os.execv(ours, [str(ours), *sys.argv])  # noqa: S606  our own script, as it was called
