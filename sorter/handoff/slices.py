"""The frames of one sequence: which of their files go along, and in which order. Pure."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Final, TypeAlias

from sorter.handoff.naming import base_name
from sorter.model.kinds import PICTURE_ROLES, Role
from sorter.model.plan import Entry, State
from sorter.model.stack import SliceFiles, SliceOrder

Roles: TypeAlias = tuple[Role, ...]

_ROLE_ORDER: Final = {role: place for place, role in enumerate(Role)}
_ROLES: Final[dict[SliceFiles, Roles]] = {
    SliceFiles.IMAGE: (Role.IMAGE,),
    SliceFiles.RAW: (Role.RAW,),
    SliceFiles.BOTH: (Role.RAW, Role.IMAGE),
}


@dataclass(frozen=True, slots=True, kw_only=True)
class StackFrame:
    """One frame of a sequence. files: its pictures that lie in the shoot, in the manifest's order.

    label: the name of one of its files, there or not; empty where nothing is known of the frame.
    """

    position: int
    files: tuple[Entry, ...]
    label: str = ""

    def first(self, role: Role) -> Entry | None:
        """The first file that plays this part; None where none lies in the shoot."""
        return next((entry for entry in self.files if entry.row.role is role), None)

    @property
    def from_near(self) -> int | None:
        """Its place counted from the nearest focus; None where the camera did not tell."""
        known = [entry.placement.from_near for entry in self.files]
        return next((place for place in known if place is not None), None)


def frames_of(entries: Iterable[Entry]) -> tuple[StackFrame, ...]:
    """All frames of one sequence in order of capture, also those of which nothing lies there.

    Of frames that are told only by the sequence's length the first is named: one lacking is enough.
    """
    files: dict[int, list[Entry]] = {}
    count = 0
    for entry in entries:
        if entry.row.position is not None:
            files.setdefault(entry.row.position, []).append(entry)
            count = max(count, entry.row.frames or 0)
    gap = next((place for place in range(1, count + 1) if place not in files), None)
    if gap is not None:
        files[gap] = []
    return tuple(_frame(position, files[position]) for position in sorted(files))


def wanted_roles(frames: Sequence[StackFrame], files: SliceFiles | None) -> list[Roles]:
    """Which parts each frame is to give.

    Where nothing is asked for: images where every frame has one, else raws where every frame has
    one, else of each frame what it has. A program is given one form of file where that can be.
    """
    if files is not None:
        return [_ROLES[files]] * len(frames)
    for role in (Role.IMAGE, Role.RAW):
        if all(frame.first(role) for frame in frames):
            return [(role,)] * len(frames)
    return [(Role.IMAGE,) if frame.first(Role.IMAGE) else (Role.RAW,) for frame in frames]


def picked(frame: StackFrame, roles: Roles) -> tuple[Entry, ...]:
    """The first file of each part that the frame has."""
    found = (frame.first(role) for role in roles)
    return tuple(entry for entry in found if entry is not None)


def what_lacks(frame: StackFrame, roles: Roles) -> str:
    """Why the frame cannot give these parts, and what to do; empty where it can."""
    name = f"frame {frame.position}" + (f" ({frame.label})" if frame.label else "")
    if not frame.files:
        return f"{name} is not in the shoot. Ingest the card again, then hand it over."
    lacks = next((role for role in roles if frame.first(role) is None), None)
    if lacks is None:
        return ""
    return f"{name} has no {lacks} in the shoot. Ask for other files with --files."


def in_order(
    frames: tuple[StackFrame, ...], order: SliceOrder
) -> tuple[tuple[StackFrame, ...], SliceOrder]:
    """The frames in this order, or in that of capture where a focus is unknown; and which it is."""
    places = [frame.from_near for frame in frames if frame.from_near is not None]
    if order is SliceOrder.CAPTURE or len(places) < len(frames):
        return frames, SliceOrder.CAPTURE
    near_first = sorted(frames, key=lambda frame: (frame.from_near or 0, frame.position))
    if order is SliceOrder.FAR_FIRST:
        near_first.reverse()
    return tuple(near_first), order


def _frame(position: int, entries: list[Entry]) -> StackFrame:
    entries = sorted(entries, key=_as_in_manifest)
    there = (entry for entry in entries if entry.state is State.PLACED)
    return StackFrame(
        position=position,
        files=tuple(entry for entry in there if entry.row.role in PICTURE_ROLES),
        label=base_name(entries[0].row.source) if entries else "",
    )


def _as_in_manifest(entry: Entry) -> tuple[int, str]:
    return _ROLE_ORDER[entry.row.role], entry.row.source
