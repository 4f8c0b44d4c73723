"""Where card, shoot and second copy lie: on one disk, on several, or in memory."""

from __future__ import annotations

from sorter.disk.card import Card
from sorter.disk.shoot import Shoot
from sorter.model.advice import DiskLayout
from sorter.model.disks import Apart, Disk, Lies, apart


def disk_layout(card: Card | None, shoot: Shoot, backup: Shoot | None) -> DiskLayout:
    """Which of them lie on one disk, as far as the system tells now. card: None where there is none."""
    one, two, three = _disk(card), _disk(shoot), _disk(backup)
    return DiskLayout(
        card_shoot=_apart(one, two),
        card_backup=_apart(one, three),
        shoot_backup=_apart(two, three),
        shoot_in_memory=two is not None and two.lies is Lies.MEMORY,
        backup_in_memory=three is not None and three.lies is Lies.MEMORY,
    )


def _disk(place: Card | Shoot | None) -> Disk | None:
    try:
        return None if place is None else place.disk()
    except OSError:
        return None


def _apart(one: Disk | None, two: Disk | None) -> Apart:
    return Apart.UNKNOWN if one is None or two is None else apart(one, two)
