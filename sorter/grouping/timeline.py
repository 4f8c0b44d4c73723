"""One timeline a body: its frames in the order in which they were taken.

Time orders, with the fraction of the second where all frames of that second have one; within a
second without fractions the file counter orders, then the camera's shot number. Where the clock was
set back the counter wins. Numbers follow DCF (CIPA DC-009): directories 100 to 999, files 0001 to
9999, after which the next file is 0001 again.
"""

from __future__ import annotations

import itertools
import re
from collections import defaultdict
from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace
from functools import lru_cache

from sorter.grouping import presses
from sorter.model.frame import Facts, Frame, ReadFile
from sorter.model.kinds import Bracketing, DriveMode
from sorter.model.values import MICROSECONDS

WRAP = 9_999  # DCF file numbers run from 0001 to 9999
_DIRECTORY = re.compile(r"(?:\A|/)([1-9]\d{2})[A-Za-z0-9_]{5}/[^/]*\Z")
_NUMBER = re.compile(r"(\d{4})(?:\.[^./]*)?\Z")
_TRAILING_DIGITS = re.compile(r"(\d{1,9})$")
# Nobody sets a clock back by less; two frames of one burst lie nearer than that.
_LEAST_SET_BACK_US = 30 * MICROSECONDS
_MOST_PASSED = 100  # numbers that were deleted where the clock was set back
_BY_TURNS = 2  # times as often as the time would, a counter runs back that is none
# A stamp of 1/100 s tells two presses apart at up to 100 frames a second; 1/10 s does not.
_FINE_DIGITS = 2

Body = tuple[str, str, str]


@dataclass(frozen=True, slots=True, kw_only=True)
class Timeline:
    """The frames of one body (make, model, serial) in the order of capture."""

    body: Body
    frames: tuple[Frame, ...]
    in_utc: bool = False

    def start_us(self, frame: Frame) -> int:
        """The frame's start in microseconds on this timeline's clock."""
        return clock_us(frame, in_utc=self.in_utc)


def clock_us(frame: Frame, *, in_utc: bool) -> int:
    """Microseconds by the camera's wall clock, or in UTC where asked for and known."""
    moment = frame.moment
    offset = moment.offset_min if in_utc else 0
    return moment.local_us - (offset or 0) * 60 * MICROSECONDS


def directory_number(frame: Frame) -> int | None:
    """The number of the frame's DCF directory; None where the folder is not named by DCF."""
    return _directory_in(frame.files[0].path)


def file_number(frame: Frame) -> int | None:
    """The frame's DCF file number; None where the name has no four digits at its end."""
    return number_of(frame.files[0])


def last_number(frame: Frame) -> int | None:
    """The last DCF file number that the frame took in its first file's folder.

    It differs from the first where one exposure left files under several numbers.
    """
    first = frame.files[0]
    one = number_of(first)
    if one is None or len(frame.files) == 1:
        return one
    if all(number_of(file) == one for file in frame.files):
        return one
    beside = (number_of(file) for file in frame.files if file.file.folder == first.file.folder)
    return max((n for n in beside if n is not None), key=lambda n: (n - one) % WRAP)


def number_of(file: ReadFile) -> int | None:
    """The file's DCF number; None where its name has no four digits at its end."""
    return _number_in(file.path)


# Each frame of a timeline is asked a dozen times for its numbers, pass after pass.
@lru_cache(maxsize=1 << 17)
def _directory_in(path: str) -> int | None:
    match = _DIRECTORY.search(path)
    return int(match[1]) if match else None


@lru_cache(maxsize=1 << 17)
def _number_in(path: str) -> int | None:
    match = _NUMBER.search(path)
    return int(match[1]) if match else None


def timelines(frames: Iterable[Frame]) -> tuple[Timeline, ...]:
    """One timeline for every body, each in order of capture, bodies in the order of their names."""
    bodies = _by_body(frames)
    return tuple(_timeline(body, bodies[body]) for body in sorted(bodies))


def _by_body(frames: Iterable[Frame]) -> dict[Body, list[Frame]]:
    bodies: defaultdict[Body, list[Frame]] = defaultdict(list)
    for frame in frames:
        facts = frame.facts
        bodies[facts.make.casefold(), facts.model.casefold(), facts.serial].append(frame)
    for body in [body for body in bodies if not body[2]]:
        twins = [other for other in bodies if other[:2] == body[:2] and other[2]]
        # A file that lost its serial belongs to the one body of that model, if there is just one.
        if len(twins) == 1 and body[1]:
            bodies[twins[0]].extend(bodies.pop(body))
    return dict(bodies)


def _timeline(body: Body, frames: list[Frame]) -> Timeline:
    frames = presses.joined(frames, lambda frame: directory_number(frame) is not None)
    in_utc = all(frame.moment.offset_min is not None for frame in frames)
    ordered = _in_order(frames, lambda frame: clock_us(frame, in_utc=in_utc))
    return Timeline(body=body, frames=tuple(_joined_files(ordered)), in_utc=in_utc)


def _in_order(frames: list[Frame], start: Callable[[Frame], int]) -> list[Frame]:
    """By time; by the counter where the clock was set back, or where two bodies count.

    A counter that runs back tells neither by itself: a second slot counts for itself, and what was
    taken before the release may be written last.
    """
    by_time = _by_time(frames, start)
    if not _counter_runs_back(by_time):
        return by_time
    numbered = [frame for frame in by_time if _is_numbered(frame)]
    by_counter = sorted(numbered, key=lambda f: (directory_number(f) or 0, file_number(f) or 0))
    if not _counter_tells_more(by_counter, numbered, start):
        return by_time
    return _with_rest(by_counter, by_time)


def _is_numbered(frame: Frame) -> bool:
    return directory_number(frame) is not None and file_number(frame) is not None


def _counter_tells_more(
    by_counter: list[Frame], by_time: list[Frame], start: Callable[[Frame], int]
) -> bool:
    """The counter explains with a clock that was set back what else would be chance.

    Where it was, by minutes or hours, the counter went on; where the counter runs back far more often
    than the time would, two of them were shooting by turns.
    """
    backs = [(a, b) for a, b in itertools.pairwise(by_counter) if start(b) < start(a)]
    runs_back = _counter_runs_back(by_time)
    if not backs or len(backs) > runs_back or _runs_back(by_counter) > _runs_back(by_time):
        return False
    if any(start(a) - start(b) < _LEAST_SET_BACK_US for a, b in backs):
        return False
    if _runs_on(by_time) > _runs_on(by_counter):
        return False
    went_on = all(1 <= (counter_step(a, b) or 0) <= _passed(a, b) for a, b in backs)
    return went_on or _BY_TURNS * len(backs) <= runs_back


def _runs_back(frames: list[Frame]) -> int:
    """How often the body's own count of all shots runs back."""
    counts = [frame.facts.counter for frame in frames if frame.facts.counter is not None]
    return sum(b < a for a, b in itertools.pairwise(counts))


def _runs_on(frames: list[Frame]) -> int:
    """How often the camera's number within a series goes on by one."""
    shots = [frame.facts.shot_number or 0 for frame in frames]
    return sum(a > 0 and b == a + 1 for a, b in itertools.pairwise(shots))


def _passed(one: Frame, two: Frame) -> int:
    """How far the counter may have gone on: to another card only to the very next number."""
    return _MOST_PASSED if _top(one) == _top(two) else 1


def _top(frame: Frame) -> str:
    """The path above the frame's own folder."""
    return frame.files[0].file.folder.rpartition("/")[0]


def _with_rest(by_counter: list[Frame], by_time: list[Frame]) -> list[Frame]:
    """With the frames that have no number, each behind the one that it follows by time."""
    behind: defaultdict[str, list[Frame]] = defaultdict(list)
    last = ""
    for frame in by_time:
        if _is_numbered(frame):
            last = frame.path
        else:
            behind[last].append(frame)
    rest = (one for frame in by_counter for one in (frame, *behind[frame.path]))
    return [*behind[""], *rest]


def _by_time(frames: list[Frame], start: Callable[[Frame], int]) -> list[Frame]:
    seconds: defaultdict[int, list[Frame]] = defaultdict(list)
    for frame in frames:
        seconds[start(frame) // MICROSECONDS].append(frame)
    ordered: list[Frame] = []
    for second in sorted(seconds):
        ordered += _within_second(seconds[second], start, ordered[-1] if ordered else None)
    return ordered


def _within_second(
    frames: list[Frame], start: Callable[[Frame], int], before: Frame | None
) -> list[Frame]:
    """In the order of their fractions, else of their numbers; a folder is left once.

    before: the last frame of the second before; its folder comes first.
    """
    if len(frames) == 1:
        return frames
    counters = _counter_keys(frames)
    counted = _as_counted(frames)
    exact = all(frame.moment.digits is not None for frame in frames)
    # A missing fraction never sorts as .000: then the counter alone speaks for the second.
    if counted and not exact:
        return counted
    folder = "" if before is None else before.files[0].file.folder
    return sorted(
        frames,
        key=lambda frame: (
            start(frame) if exact else frame.files[0].file.folder != folder,
            counters[frame.path],
        ),
    )


def _as_counted(frames: list[Frame]) -> list[Frame]:
    """By the camera's own numbers where the files' numbers run back against them; else empty.

    Within one series only: where two meet in one second, the second one's numbers begin again.
    """
    for number in (_life, _shot):
        numbers = [number(frame) for frame in frames]
        if None in numbers or len(set(numbers)) < len(numbers):
            continue
        ordered = sorted(frames, key=lambda frame: number(frame) or 0)
        steps = [counter_step(a, b) for a, b in itertools.pairwise(ordered)]
        if all(step is not None and step < 0 for step in steps):
            return ordered
    return []


def _life(frame: Frame) -> int | None:
    return frame.facts.counter


def _shot(frame: Frame) -> int | None:
    return frame.facts.shot_number


def _counter_keys(frames: list[Frame]) -> dict[str, tuple[int, int, int, str]]:
    numbers = [number for frame in frames if (number := file_number(frame)) is not None]
    wrapped = bool(numbers) and max(numbers) - min(numbers) > WRAP // 2
    return {frame.path: _counter_key(frame, wrapped=wrapped) for frame in frames}


def _counter_key(frame: Frame, *, wrapped: bool) -> tuple[int, int, int, str]:
    directory, number = directory_number(frame), file_number(frame)
    shot = frame.facts.shot_number or 0
    if directory is None:
        digits = _TRAILING_DIGITS.search(frame.files[0].file.stem)
        return (0, shot, int(digits[1]) if digits else 0, frame.path)
    if number is None:
        return (directory, shot, 0, frame.path)
    return (directory, number + (WRAP if wrapped and number < WRAP // 2 else 0), shot, frame.path)


def counter_step(before: Frame, after: Frame) -> int | None:
    """How far the file counter moved, over 9999 and new directories; None where it cannot tell.

    1: neighbours. Negative: the counter ran back (a clock set back, or files of two counters).
    """
    one, two = last_number(before), file_number(after)
    if one is None or two is None:
        return None
    first, second = directory_number(before), directory_number(after)
    if first is None or second is None:
        return two - one if before.files[0].file.folder == after.files[0].file.folder else None
    if first == second:
        step = (two - one) % WRAP
        return step - WRAP if step > WRAP // 2 else step
    if second > first:
        step = (two - one) % WRAP
        return step if step <= WRAP // 2 else None  # numbering began again in the new directory
    return -1


def _counter_runs_back(frames: list[Frame]) -> int:
    steps = (counter_step(a, b) for a, b in itertools.pairwise(frames))
    return sum(step is not None and step < 0 for step in steps)


def _joined_files(frames: list[Frame]) -> list[Frame]:
    """Files that one exposure left under several names or in several folders make one frame."""
    joined: list[Frame] = []
    for frame in frames:
        if joined and _same_exposure(joined[-1], frame):
            one = joined[-1]
            joined[-1] = replace(one, files=one.files + frame.files, notes=one.notes + frame.notes)
        else:
            joined.append(frame)
    return joined


def _same_exposure(one: Frame, two: Frame) -> bool:
    if one.moment != two.moment or not _same_settings(one, two):
        return False
    if one.files[0].file.stem.casefold() == two.files[0].file.stem.casefold():
        return one.files[0].file.folder != two.files[0].file.folder
    fine = len(one.moment.digits or "") >= _FINE_DIGITS
    driven = one.facts.drive_mode is DriveMode.CONTINUOUS or one.facts.shot_number is not None
    stepped = one.facts.bracketing in (Bracketing.FOCUS, Bracketing.EXPOSURE)
    return fine and not driven and not stepped and counter_step(one, two) == 1


def _same_settings(one: Frame, two: Frame) -> bool:
    return _settings(one.facts) == _settings(two.facts)


def _settings(facts: Facts) -> tuple[object, ...]:
    exposure = (facts.exposure_time_s, facts.f_number, facts.iso, facts.exposure_bias_ev)
    focus = (facts.focus_near_m, facts.focus_far_m, facts.focus_step, facts.lens)
    return (exposure, focus, facts.shot_number, facts.bracket_offset_ev, facts.merged)
