"""Puts a card's files where they belong, with the times that a camera gives them; and truth tables."""

from __future__ import annotations

import csv
import io
import os
from datetime import UTC
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence
    from datetime import datetime, tzinfo
    from pathlib import Path


def put(path: Path, data: bytes, shown: datetime | None, zone: tzinfo) -> None:
    """Writes the file and, where the camera's clock was set, gives it the time that it showed."""
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_bytes(data)
    if shown is not None:
        set_time(path, shown, zone)


def set_time(path: Path, shown: datetime, zone: tzinfo) -> None:
    """Sets access and change time to the capture time, in the whole seconds of a card's clock."""
    seconds = int(shown.replace(tzinfo=zone).astimezone(UTC).timestamp())
    os.utime(path, (seconds, seconds))


def as_csv(rows: Iterable[Mapping[str, str]], columns: Sequence[str]) -> bytes:
    """The rows as CSV (RFC 4180, UTF-8)."""
    out = io.StringIO(newline="")
    writer = csv.DictWriter(out, columns, lineterminator="\r\n")
    writer.writeheader()
    writer.writerows(rows)
    return out.getvalue().encode()
