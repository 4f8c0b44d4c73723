"""Frames of one press that lie under several names: joined, so that nothing is counted twice.

One body's frames are one press where they were taken at the same moment with settings that do not
speak against it, and where their names say so: one number, a name made of the other, or two counters
that go on side by side over a whole series. A name alone joins nothing, and neither does a time.
"""

from __future__ import annotations

import re
from collections import Counter, defaultdict
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import replace
from functools import lru_cache
from typing import Final, NamedTuple

from sorter.model.frame import Facts, Frame
from sorter.model.kinds import Role
from sorter.model.values import Moment

_NUMBER: Final = re.compile(r"(\d{4,})\Z")
_MADE_OF: Final = re.compile(r"(.*?\d{3,})[ _.\-]+[^\W\d_].*")
"""A numbered name, and words behind it: "-edit", "_bearbeitet", " copy 2"."""
_NUMBERED_PART: Final = re.compile(r"\d{3,}\Z")
"""Words with such a number at their end are no words: a burst's own count."""
_ANY_NUMBER: Final = re.compile(r"\d{3,}")
_ROUNDED: Final = 0.01  # of a value that an editor wrote again
_SIDE_BY_SIDE: Final = 0.6  # of the shorter one of two rows of frames
_ENOUGH: Final = 3  # moments; fewer are chance

Stream = tuple[str, bool]
"""A folder, and whether raws lie in it: the frames that one counter may have counted."""


Named = Callable[[Frame], bool]
"""Whether a frame lies where the camera put it, in a directory by DCF."""


def joined(frames: Sequence[Frame], named: Named) -> list[Frame]:
    """The body's frames, each press once, in the order in which they came.

    The file that speaks for the press is a raw before an image, and what the camera named before
    what was named after it.
    """
    by_moment: defaultdict[Moment, list[Frame]] = defaultdict(list)
    for frame in frames:
        by_moment[frame.moment].append(frame)
    if len(by_moment) == len(frames):
        return list(frames)
    same: dict[str, str] = {}
    for alike in by_moment.values():
        if len(alike) > 1:
            same |= _by_name(sorted(alike, key=lambda frame: _rank(frame, named)))
    same |= _by_counters(by_moment, same)
    same = {path: other for path, other in same.items() if path != other}
    return list(_united(frames, same)) if same else list(frames)


def _united(frames: Sequence[Frame], same: dict[str, str]) -> Iterator[Frame]:
    """Frames with the files of those that belong to them, by the paths of both."""
    parts: defaultdict[str, list[Frame]] = defaultdict(list)
    for frame in frames:
        parts[_first(frame.path, same)].append(frame)
    for frame in frames:
        if frame.path not in same:
            whole = sorted(parts[frame.path], key=lambda part: (part is not frame, part.path))
            files = tuple(file for part in whole for file in part.files)
            notes = tuple(note for part in whole for note in part.notes)
            yield replace(frame, files=files, notes=notes) if len(whole) > 1 else frame


def _first(path: str, same: dict[str, str]) -> str:
    while path in same:
        path = same[path]
    return path


def _rank(frame: Frame, named: Named) -> tuple[bool, bool, bool, str]:
    """Raws first, then what the camera named."""
    made = _MADE_OF.fullmatch(_stem(frame)) is not None
    return not _is_raw(frame), not named(frame), made, frame.path


def _is_raw(frame: Frame) -> bool:
    return frame.files[0].role is Role.RAW


def _stem(frame: Frame) -> str:
    return frame.files[0].file.stem


# ---- by their names ---------------------------------------------------------------------------


def _by_name(alike: list[Frame]) -> dict[str, str]:
    """Frames of one moment whose names say that they are one press: each by the first of them.

    alike: the one that is to speak for the press first.
    """
    found: dict[str, str] = {}
    firsts: dict[str, list[Frame]] = {}
    plain: list[Frame] = []
    for frame in alike:
        name = _name_of(_stem(frame))
        if name is None:
            plain.append(frame)
            continue
        others = firsts.setdefault(name, [])
        other = next((each for each in others if agree(each.facts, frame.facts)), None)
        if other is None:
            others.append(frame)
        else:
            found[frame.path] = other.path
    numbered = [frame for others in firsts.values() for frame in others]
    return found | _without_number(plain, numbered)


def _without_number(plain: list[Frame], numbered: list[Frame]) -> dict[str, str]:
    """No camera names a picture without a number: it is of the one press that it may be of."""
    found: dict[str, str] = {}
    for frame in plain:
        may_be = [other for other in numbered if agree(other.facts, frame.facts)]
        if len(may_be) == 1:
            found[frame.path] = may_be[0].path
    return found


@lru_cache(maxsize=256)
def _name_of(stem: str) -> str | None:
    """What equal names have in common: their number, else the whole; None where there is no number."""
    made = _MADE_OF.fullmatch(stem)
    if made and not _NUMBERED_PART.search(stem):
        stem = made[1]
    number = _NUMBER.search(stem)
    if number:
        return number[1]
    return stem.casefold() if _ANY_NUMBER.search(stem) else None


# ---- by their counters ------------------------------------------------------------------------


class _Pair(NamedTuple):
    """Two rows of frames that may be of the same presses."""

    one: Stream
    two: Stream


def _by_counters(by_moment: dict[Moment, list[Frame]], same: dict[str, str]) -> dict[str, str]:
    """Frames of two counters that go on side by side: raws, and images of the same presses."""
    sizes: Counter[Stream] = Counter()
    shared: Counter[_Pair] = Counter()
    moments: defaultdict[_Pair, list[tuple[list[Frame], list[Frame]]]] = defaultdict(list)
    for alike in by_moment.values():
        rows = _rows(alike, same)
        sizes.update({stream: len(row) for stream, row in rows.items()})
        for pair in _pairs(rows):
            one, two = rows[pair.one], rows[pair.two]
            shared[pair] += min(len(one), len(two))
            moments[pair].append((one, two))
    found: dict[str, str] = {}
    for pair, count in shared.items():
        if count >= _SIDE_BY_SIDE * min(sizes[pair.one], sizes[pair.two]):
            found |= _paired(pair, moments[pair], set(found))
    return found


def _rows(alike: list[Frame], same: dict[str, str]) -> dict[Stream, list[Frame]]:
    """The frames of one moment by the counter that they may be of, in the order of their numbers."""
    rows: defaultdict[Stream, list[Frame]] = defaultdict(list)
    if len(alike) > 1:
        for frame in alike:
            if frame.path not in same and _counted(frame) is not None:
                rows[frame.files[0].file.folder, _is_raw(frame)].append(frame)
    elif alike[0].path not in same:
        rows[alike[0].files[0].file.folder, _is_raw(alike[0])].append(alike[0])
    return {stream: sorted(row, key=lambda f: _counted(f) or 0) for stream, row in rows.items()}


def _pairs(rows: dict[Stream, list[Frame]]) -> Iterator[_Pair]:
    streams = sorted(rows, key=lambda stream: (not stream[1], stream[0]))
    for place, one in enumerate(streams):
        for two in streams[place + 1 :]:
            yield _Pair(one, two)


def _paired(
    pair: _Pair, moments: Iterable[tuple[list[Frame], list[Frame]]], taken: set[str]
) -> dict[str, str]:
    """Frames of the second row by those of the first: in their order, or as far apart as before."""
    found: dict[str, str] = {}
    apart: int | None = None
    times = 0
    for one, two in moments:
        rest = [frame for frame in two if frame.path not in taken]
        if len(one) == len(rest):
            both = list(zip(one, rest, strict=True))
        else:
            both = [
                (a, b) for a in one for b in rest if apart is not None and _apart(a, b) == apart
            ]
        fitting = [(a, b) for a, b in both if agree(a.facts, b.facts)]
        if fitting:
            apart = _apart(*fitting[-1])
            times += 1
        found |= {b.path: a.path for a, b in fitting}
    raw_and_image = pair.one[1] and not pair.two[1]
    return found if raw_and_image or times >= _ENOUGH else {}


def _apart(one: Frame, two: Frame) -> int:
    return (_counted(two) or 0) - (_counted(one) or 0)


def _counted(frame: Frame) -> int | None:
    number = _NUMBER.search(_stem(frame))
    return int(number[1][-4:]) if number else None


# ---- settings ---------------------------------------------------------------------------------


def agree(one: Facts, two: Facts) -> bool:
    """Nothing that both say of exposure, focus and number speaks against one press.

    An editor may have left out what the maker wrote, and rounded what the standard asks for.
    """
    pairs = zip(_settings(one), _settings(two), strict=True)
    return one.merged == two.merged and all(_alike(a, b) for a, b in pairs)


def _settings(facts: Facts) -> tuple[object, ...]:
    exposure = (facts.exposure_time_s, facts.f_number, facts.iso, facts.exposure_bias_ev)
    focus = (facts.focus_near_m, facts.focus_far_m, facts.focus_step, facts.lens or None)
    return (*exposure, *focus, facts.shot_number, facts.bracket_offset_ev)


def _alike(one: object, two: object) -> bool:
    if one is None or two is None or one == two:
        return True
    if isinstance(one, float) and isinstance(two, float):
        return abs(one - two) <= _ROUNDED * min(abs(one), abs(two))
    return False
