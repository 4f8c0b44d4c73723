"""Files to frames: what one press of the shutter left behind travels together.

Rule (CIPA DC-009, DCF objects): files in one folder with one number belong together. Times
confirm it, so that names used twice do not join what was taken apart.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from functools import reduce
from typing import Final

from sorter.model.frame import Facts, Frame, ReadFile, filled_in
from sorter.model.kinds import PICTURE_ROLES, Kind, Role
from sorter.reading import names

MOST_APART_S: Final = 2
"""A raw and its JPEG may be stamped when each was written; FAT stamps in steps of two seconds."""

Loose = tuple[Kind, ReadFile]


@dataclass(slots=True)
class _StemGroup:
    """The files of one folder that share a stem."""

    pictures: list[ReadFile] = field(default_factory=list)
    clips: list[ReadFile] = field(default_factory=list)
    companions: list[ReadFile] = field(default_factory=list)

    def take(self, file: ReadFile) -> None:
        if file.role in PICTURE_ROLES:
            self.pictures.append(file)
        elif file.role is Role.CLIP:
            self.clips.append(file)
        else:
            self.companions.append(file)


def join(files: Sequence[ReadFile]) -> tuple[tuple[Frame, ...], tuple[Loose, ...]]:
    """Frames in the order of their paths, and every file that is in none, with its kind."""
    groups: list[list[ReadFile]] = []
    loose: list[Loose] = []
    for heap in _heaps(files):
        _sort_out(heap, groups, loose)
    joined = sorted(_across_prefixes(groups), key=lambda group: group[0].file.path)
    frames = map(_frame, joined)
    return tuple(frames), tuple(sorted(loose, key=lambda one: one[1].path))


def _heaps(files: Sequence[ReadFile]) -> Iterable[_StemGroup]:
    """Files by folder and stem, whatever the case; NAME.EXT.xmp stands with NAME.EXT."""
    heaps: dict[tuple[str, str], _StemGroup] = {}
    sidecars = any(file.role is Role.SIDECAR for file in files)
    there = {file.path.lower() for file in files if file.role is not Role.SIDECAR and sidecars}
    for file in files:
        stem = file.file.stem.lower()
        folder = file.file.folder
        if file.role is Role.SIDECAR and f"{folder}/{stem}".lstrip("/").lower() in there:
            stem = stem.rpartition(".")[0]
        heaps.setdefault((folder, stem), _StemGroup()).take(file)
    return heaps.values()


def _sort_out(heap: _StemGroup, groups: list[list[ReadFile]], loose: list[Loose]) -> None:
    """One heap to groups that become frames, and to loose files."""
    made = _by_time(heap.pictures)
    if made:
        for file in [*heap.clips, *heap.companions]:
            _home(file, made).append(file)
        groups.extend(made)
    elif heap.clips:
        loose.extend((Kind.CLIP, file) for file in [*heap.clips, *heap.companions])
        loose.extend((_kind_without_time(file), file) for file in heap.pictures)
    elif heap.pictures:
        _without_time(heap, loose)
    else:
        loose.extend((_kind_alone(file), file) for file in heap.companions)


def _by_time(pictures: Iterable[ReadFile]) -> list[list[ReadFile]]:
    """Pictures of one stem as groups of one time each; none where no picture has a time.

    Raws come first; a picture without a time goes with the first group.
    """
    groups: list[list[ReadFile]] = []
    undated: list[ReadFile] = []
    for file in sorted(pictures, key=_rank):
        moment = file.facts.moment
        if moment is None:
            undated.append(file)
            continue
        fitting = (group for group in groups if _one_time(group[0], file))
        group = next(fitting, None)
        if group is None:
            groups.append([file])
        else:
            group.append(file)
    if groups:
        groups[0].extend(undated)
    return groups


def _rank(file: ReadFile) -> tuple[bool, str]:
    return file.role is not Role.RAW, file.path


def _one_time(one: ReadFile, other: ReadFile) -> bool:
    first, second = one.facts.moment, other.facts.moment
    if first is None or second is None or _other_bodies(one.facts, other.facts):
        return False
    return abs(first.local_s - second.local_s) <= MOST_APART_S


def _other_bodies(one: Facts, other: Facts) -> bool:
    """Whether two models say that two cameras took them; an editor may have dropped one."""
    return bool(one.model and other.model) and one.model.casefold() != other.model.casefold()


def _home(file: ReadFile, groups: list[list[ReadFile]]) -> list[ReadFile]:
    """The group that a file beside pictures belongs to: by its name, else the first (raw first)."""
    wanted = file.file.stem.lower()
    for group in groups:
        if any(picture.file.name.lower() == wanted for picture in group):
            return group
    return groups[0]


def _without_time(heap: _StemGroup, loose: list[Loose]) -> None:
    """Pictures that have no time, and what travels with them under the kind of the first."""
    ranked = sorted(heap.pictures, key=_rank)
    loose.extend((_kind_without_time(file), file) for file in ranked)
    loose.extend((_kind_without_time(ranked[0]), file) for file in heap.companions)


def _kind_without_time(file: ReadFile) -> Kind:
    """Undated where it is a picture, unreadable where nothing of one can be read."""
    return Kind.UNDATED if file.is_picture else Kind.UNREADABLE


def _kind_alone(file: ReadFile) -> Kind:
    return Kind.CLIP if file.role is Role.SOUND else Kind.OTHER


def _across_prefixes(groups: list[list[ReadFile]]) -> Iterator[list[ReadFile]]:
    """Groups of one number under the two colour-space prefixes of one counter become one.

    Only where both tell the same time: the names alone would join two pictures.
    """
    by_number: dict[tuple[str, str], list[tuple[str, list[ReadFile]]]] = {}
    for group in groups:
        numbered = names.number(group[0].file.stem)
        if numbered is None:
            yield group
        else:
            place = (group[0].file.folder, numbered[1])
            by_number.setdefault(place, []).append((numbered[0], group))
    for alike in by_number.values():
        if len(alike) == 1:  # as nearly always
            yield alike[0][1]
        else:
            yield from _united(alike)


def _united(alike: list[tuple[str, list[ReadFile]]]) -> Iterator[list[ReadFile]]:
    kept: list[tuple[str, list[ReadFile]]] = []
    for prefix, group in sorted(alike, key=lambda one: _rank(one[1][0])):
        for other, first in kept:
            if names.one_counter(prefix, other) and _one_time(first[0], group[0]):
                first.extend(group)
                break
        else:
            kept.append((prefix, group))
    for _, group in kept:
        yield group


def _frame(group: list[ReadFile]) -> Frame:
    """The frame of a group, whose first file speaks for it."""
    if len(group) == 1:
        return Frame(files=(group[0],), facts=group[0].facts, notes=group[0].notes)
    speaking = [file.facts for file in group if file.role in PICTURE_ROLES]
    notes = dict.fromkeys(f"{file.file.name}: {note}" for file in group for note in file.notes)
    return Frame(files=tuple(group), facts=reduce(filled_in, speaking), notes=tuple(notes))
