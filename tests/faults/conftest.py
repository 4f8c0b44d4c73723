"""What the tests of faults share: a place in memory, and disks of a size."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from pathlib import Path
from tempfile import mkdtemp

import pytest

from faults.disks import memory


@pytest.fixture
def base(tmp_path: Path) -> Iterator[Path]:
    """A folder in memory: what is looked at is the order of calls, and forcing costs nothing there."""
    folder = Path(mkdtemp(prefix="tide", dir=memory(tmp_path)))
    yield folder
    shutil.rmtree(folder)


@pytest.fixture
def tide_home(base: Path) -> Path:
    """Cards and shoots lie there too."""
    return base
