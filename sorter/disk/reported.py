"""The report's folder in a shoot: its page, and its pictures by names that tell their content."""

from __future__ import annotations

import contextlib
import os
import re
from collections.abc import Iterable
from pathlib import Path
from typing import Final

from sorter.disk.shoot import Shoot
from sorter.errors import ShootNotWritable

FOLDER: Final = "report"
PAGE: Final = f"{FOLDER}/index.html"
PICTURES: Final = "pictures"
_OURS: Final = re.compile(r"(?:small|large|merge|depth)-[0-9a-f]{16}\.(?:jpg|png)")
_HEAD: Final = 2000
"""Bytes of a page within which its maker is named."""


def put_picture(shoot: Shoot, name: str, data: bytes) -> None:
    """The picture is in the report's folder. Raises OSError, ShootNotWritable."""
    shoot.keep(f"{FOLDER}/{PICTURES}/{name}", data)


class ReportFolder:
    """What lies in it can be made again at any time, so that nothing of it is forced to the disk.

    generator: what a page of ours names as its maker: another one is never touched.
    """

    def __init__(self, shoot: Shoot, generator: str) -> None:
        self._shoot = shoot
        self._generator = generator.encode()
        self._there = set(self._names())

    @property
    def shoot(self) -> Shoot:
        """The shoot that it is a part of."""
        return self._shoot

    @property
    def page(self) -> Path:
        """Where the page lies."""
        return Path(self._shoot.root) / PAGE

    def refuse_foreign(self) -> None:
        """Returns where the page may be written. Raises ShootNotWritable where it is another's."""
        if os.path.lexists(self.page) and not self._is_ours():
            raise ShootNotWritable(
                f"{self.page} is there already and was not made by `{self._generator.decode()}`: it is "
                "never replaced. Move it away, and run the same command again."
            )

    def has(self, name: str) -> bool:
        """Whether a picture of this name is there and holds anything."""
        return name in self._there

    def note(self, names: Iterable[str]) -> None:
        """Pictures of these names were put there."""
        self._there.update(names)

    def put_page(self, data: bytes) -> None:
        """The page is there, whole. Raises OSError, ShootNotWritable."""
        self._shoot.keep(PAGE, data)

    def drop_others(self, names: frozenset[str]) -> None:
        """Pictures of ours that the page does not show are gone."""
        for name in sorted(self._names() - names):
            with contextlib.suppress(OSError):  # it is in nobody's way
                self._shoot.remove(f"{FOLDER}/{PICTURES}/{name}")

    def drop_page(self) -> None:
        """A page of ours is gone: it shows sequences that are no more. Its pictures stay for the next."""
        if self._is_ours():
            self._shoot.remove(PAGE)

    def drop_all(self) -> None:
        """All that is ours is gone, and the folder where nothing else lies in it. Raises OSError."""
        self.drop_page()
        self.drop_others(frozenset())
        self._shoot.remove_empty([f"{FOLDER}/{PICTURES}", FOLDER])

    def _is_ours(self) -> bool:
        with contextlib.suppress(OSError):
            if self.page.is_file() and not self.page.is_symlink():
                with self.page.open("rb") as file:
                    return b'content="' + self._generator + b'"' in file.read(_HEAD)
        return False

    def _names(self) -> frozenset[str]:
        """Pictures of ours that hold anything."""
        folder = Path(self._shoot.root) / FOLDER / PICTURES
        found = set()
        with contextlib.suppress(OSError), os.scandir(folder) as entries:
            for entry in entries:
                is_plain = _OURS.fullmatch(entry.name) and entry.is_file(follow_symlinks=False)
                if is_plain and entry.stat(follow_symlinks=False).st_size:
                    found.add(entry.name)
        return frozenset(found)
