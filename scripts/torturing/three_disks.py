"""The sorter, told that card, shoot and second copy lie on three disks: only then does it say all it can.

Run as `python -m torturing.three_disks CARD SHOOT OTHER WORDS…`, with the words of one of its commands. It
is the sorter in a process of its own: nothing of it is taken into the program that kills and counts.
"""

from __future__ import annotations

import os
import sys
from pathlib import Path
from typing import Final

HOME: Final = Path(__file__).resolve().parents[2]
FOLDERS: Final = 3


def main() -> None:
    """Never returns: exits with the command's code."""
    sys.path.insert(0, str(HOME))
    from sorter.cli import run  # noqa: PLC0415  the tree that this script lies in
    from sorter.disk.systems import SYSTEM  # noqa: PLC0415
    from sorter.model.disks import Disk, Lies  # noqa: PLC0415

    folders = [os.path.realpath(folder) for folder in sys.argv[1 : 1 + FOLDERS]]
    told = SYSTEM.disk

    def disk(path: str) -> Disk:
        above = (os.path.realpath(path), *map(str, Path(os.path.realpath(path)).parents))
        number = next((folders.index(each) for each in above if each in folders), None)
        if number is None or not Path(path).is_dir():
            return told(path)  # what a file's bytes are read from is as it is
        return Disk(lies=Lies.DISK, device=-1 - number, parts=frozenset({f"disk {number}"}))

    SYSTEM.disk = disk  # type: ignore[method-assign]
    sys.argv = ["sorter", *sys.argv[1 + FOLDERS :]]
    run()


if __name__ == "__main__":
    main()
