"""Hard bounds: the costliest files that we can build cost little, and say that they were too much.

Counted, not timed: steps, reads and bytes are what time is made of, and the same on every machine.
"""

from __future__ import annotations

import inspect
import os
import struct
import sys
from collections.abc import Callable
from functools import partial
from pathlib import Path

import pytest

from cardmaking.tiff import Entry, directory, tiff
from fuzzing import checks, hostile
from reading.builders import LITTLE, TIME, builder, exif_tiff, jpeg, with_note
from sorter.disk import card as door
from sorter.disk.card import Card
from sorter.model.allowance import MOST_HANDED, MOST_STEPS, Allowance
from sorter.model.card import CardFile
from sorter.model.kinds import FocusMode
from sorter.reading import cards, directories, fallback
from sorter.reading.builder import FactsBuilder
from sorter.reading.containers import boxes, heif
from sorter.reading.containers import jpeg as segments
from sorter.reading.containers import tiff as container
from sorter.reading.source import Memory

HOSTILE = list(hostile.all_of_them())
NAMES = [name for name, _, _ in HOSTILE]
DEPTH = 45
"""Calls within calls of the deepest reader, and some more for what the test itself calls."""


@pytest.mark.parametrize(("make", "ending"), [row[1:] for row in HOSTILE], ids=NAMES)
def test_a_hostile_file_costs_a_bounded_number_of_reads(
    make: Callable[[], bytes], ending: str
) -> None:
    """Field case: absurd counts, lists within lists, thousands of tiny parts."""
    source = checks.Counted(make(), head_size=400)
    found = checks.read(source, f"a.{ending}")
    assert source.reads <= checks.MOST_READS
    assert source.taken <= checks.MOST_READ
    assert list(checks.faults(source, f"a.{ending}", found)) == []


@pytest.mark.parametrize(("make", "ending"), [row[1:] for row in HOSTILE], ids=NAMES)
def test_a_hostile_file_costs_the_card_a_bounded_number_of_requests(
    make: Callable[[], bytes], ending: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / f"a.{ending}").write_bytes(make())
    asked: list[int] = []
    pread = os.pread

    def counted(handle: int, length: int, offset: int) -> bytes:
        asked.append(length)
        return pread(handle, length, offset)

    monkeypatch.setattr(os, "pread", counted)
    card = Card(tmp_path)
    (file,) = card.listing().files
    cards.read_files(card, [file])
    assert len(asked) <= door.REQUESTS + 1
    assert sum(asked) <= door.BUDGET


@pytest.mark.parametrize(("make", "ending"), [row[1:] for row in HOSTILE], ids=NAMES)
def test_no_file_nests_the_reader_deeper(make: Callable[[], bytes], ending: str) -> None:
    """No reader calls itself, so that nesting in the file is no nesting of calls."""
    data, before = make(), sys.getrecursionlimit()
    with checks.without_library():
        sys.setrecursionlimit(len(inspect.stack(0)) + DEPTH)
        try:
            found = builder(data, f"a.{ending}")
        finally:
            sys.setrecursionlimit(before)
    assert cards.NOT_UNDERSTOOD not in found.notes


@pytest.mark.parametrize(
    ("make", "ending"),
    [
        (partial(hostile.many_directories, 4), "nef"),
        (partial(hostile.long_values, 1), "tif"),
        (hostile.broken_exif_segments, "jpg"),
    ],
)
def test_what_was_too_much_is_said_in_words(make: Callable[[], bytes], ending: str) -> None:
    assert cards.ALLOWANCE_SPENT in builder(make(), f"a.{ending}").notes


def test_what_was_found_before_the_allowance_was_spent_is_kept() -> None:
    """The time stands before a heap of directories that the allowance does not suffice for."""
    heap = [LITTLE.numbers(tag, 4, 1) for tag in range(0x1000, 0x1000 + 398)]
    below = LITTLE.below(0x014A, [LITTLE.numbers(tag, 4, 1) for tag in range(1, 399)])
    main = [LITTLE.text(0x010F, "Maker"), LITTLE.below(0x8769, [TIME])]
    found = builder(tiff("<", [main, *[[*heap, below]] * 16]), "a.tif")
    assert found.facts["make"] == "Maker"
    assert found.facts["moment"] is not None
    assert found.notes == [cards.ALLOWANCE_SPENT]


def test_the_first_entries_are_kept_where_steps_run_out() -> None:
    source = Memory(directory("<", [LITTLE.words(tag, [tag]) for tag in range(1, 10)], 0))
    source.allowance.steps = 4
    found = directories.directory(directories.Tiff(source, 0, "<", source.size), 0)
    assert found is not None
    assert list(found.entries) == [1, 2, 3, 4]
    assert source.allowance.spent


def test_a_long_value_is_charged_each_time_it_is_handed_out() -> None:
    source = Memory(directory("<", [LITTLE.raw(7, b"x" * 60_000)], 0))
    found = directories.directory(directories.Tiff(source, 0, "<", source.size), 0)
    assert found is not None
    lengths = [len(found.raw(7)) for _ in range(20)]
    assert sum(lengths) <= MOST_HANDED
    assert lengths[0] == 60_000
    assert lengths[-1] == 0


def test_short_values_are_paid_for_by_their_entry() -> None:
    source = Memory(directory("<", [LITTLE.raw(7, b"x" * directories.LONG)], 0))
    found = directories.directory(directories.Tiff(source, 0, "<", source.size), 0)
    assert found is not None
    before = source.allowance.handed
    assert len(found.raw(7)) == directories.LONG
    assert source.allowance.handed == before


def test_the_first_number_of_a_long_list_is_the_first() -> None:
    """TIFF 6.0, section 2: a value of more than four bytes stands elsewhere."""
    longs = LITTLE.numbers(1, 4, *range(5, 3000))
    ratios = LITTLE.ratios(2, *[(n, 7) for n in range(3, 900)])
    floats = Entry(3, 12, 300, struct.pack("<300d", *[0.25] * 300))
    source = Memory(directory("<", [longs, ratios, floats], 0))
    found = directories.directory(directories.Tiff(source, 0, "<", source.size), 0)
    assert found is not None
    assert (found.number(1), found.ratio(1)) == (5, (5, 1))
    assert (found.ratio(2), found.ratio(3)) == ((3, 7), (1, 4))


@pytest.mark.parametrize("tag", [0x8769, 0x014A])
def test_a_pointer_to_its_own_directory_or_the_parent_leads_nowhere(tag: int) -> None:
    """Field case: a directory that points at itself or its parent."""
    data = tiff("<", [[LITTLE.numbers(tag, 4, 8), LITTLE.text(0x010F, "Maker")]])
    main = directories.opened(Memory(data), 0, len(data))
    assert main is not None
    assert directories.below(main, tag) is None
    assert list(directories.below_all(main, tag)) == []
    inner = directory("<", [LITTLE.numbers(tag, 4, 8)], 26)
    looped = LITTLE.header(8) + directory("<", [LITTLE.numbers(tag, 4, 26)], 8) + inner
    main = directories.opened(Memory(looped), 0, len(looped))
    assert main is not None
    child = directories.below(main, tag)
    assert child is not None
    assert directories.below(child, tag) is None


def test_exif_that_points_at_the_first_directory_is_exif_that_cannot_be_read() -> None:
    rows = [LITTLE.text(0x010F, "Maker"), LITTLE.numbers(0x8769, 4, 8)]
    found = builder(tiff("<", [rows]), "a.tif")
    assert found.facts["make"] == "Maker"
    assert "Exif is there but cannot be read" in found.notes


def test_no_directory_of_a_raw_is_read_twice() -> None:
    rows = [LITTLE.numbers(0x014A, 4, 8), LITTLE.words(0x0100, [64])]
    data = LITTLE.header(8) + directory("<", rows, 8, following=8)
    main = directories.opened(Memory(data), 0, len(data))
    assert main is not None
    assert len(list(container.pictures(main))) == 1


def test_all_box_walks_of_a_file_share_its_allowance() -> None:
    """ISO/IEC 14496-12: boxes may stand side by side without end."""
    source = Memory(hostile.box(b"free") * 3000)
    walked = sum(len(list(boxes.boxes(source, 0, source.size))) for _ in range(20))
    assert walked == MOST_STEPS
    assert source.allowance.spent


def test_segments_take_from_the_allowance() -> None:
    """ISO/IEC 10918-1, B.1.1.4: a marker segment is four bytes at least."""
    source = Memory(hostile.segments_without_end())
    source.allowance.steps = 10
    assert len(list(segments.segments(source, 0, source.size))) == 10
    assert source.allowance.spent


def test_chunks_take_from_the_allowance() -> None:
    """PNG third edition, 5.3: a chunk is twelve bytes at least."""
    source = Memory(hostile.chunks())
    source.allowance.steps = 10
    found = cards.read_source(source, CardFile(path="a.png", size=source.size))
    assert cards.ALLOWANCE_SPENT in found.notes


def test_items_take_from_the_allowance() -> None:
    """ISO/IEC 14496-12, 8.11.3: the places of all items stand in one box."""
    left = []
    for items in (10, 60):
        source = Memory(hostile.heif(items, infos=3))
        heif.read(source, FactsBuilder())
        left.append(source.allowance.steps)
    assert left[0] - left[1] == 2 * 50  # each item and its one extent


def test_two_parts_of_a_note_at_one_place_are_read_once() -> None:
    """Field case: offsets shifted by an editor. Two of the note's directories cannot be one."""
    inner = directory("<", [LITTLE.words(0x0301, [10])], 42)
    rows = b"".join(struct.pack("<HHII", tag, 7, len(inner), 42) for tag in (0x2010, 0x2020))
    once = b"".join(struct.pack("<HHII", tag, 7, len(inner), 42) for tag in (0x2011, 0x2020))
    said = []
    for entries in (once, rows):
        note = b"OLYMPUS\0II\3\0" + struct.pack("<H", 2) + entries + b"\0" * 4 + inner
        said.append(with_note("OLYMPUS", note).focus_mode)
    assert said == [FocusMode.MANUAL, None]


def test_a_part_of_a_note_that_is_the_note_itself_is_none() -> None:
    """Field case: a directory that points at itself."""
    for pointer, said in ((54, FocusMode.MANUAL), (12, None)):
        inner = directory("<", [LITTLE.words(0x0301, [10])], 54)
        rows = [(0x0301, 3, 1, 10), (0x2020, 4, 1, pointer), (0x9000, 3, 1, 0)]
        entries = b"".join(struct.pack("<HHII", *row) for row in rows)
        note = b"OLYMPUS\0II\3\0" + struct.pack("<H", 3) + entries + b"\0" * 4 + inner
        assert with_note("OLYMPUS", note).focus_mode is said


def test_a_picture_of_many_tiles_is_within_the_allowance() -> None:
    """ISO/IEC 23008-12: each tile is an item with a name and a place; cameras write hundreds."""
    exif = b"\0\0\0\0" + exif_tiff([LITTLE.text(0x010F, "Maker")], [TIME])
    data = hostile.heif(items=900, infos=899)
    assert cards.ALLOWANCE_SPENT not in builder(data + exif, "a.heic").notes


def test_an_ordinary_picture_takes_a_small_part_of_the_allowance() -> None:
    source = Memory(jpeg(exif_tiff([LITTLE.text(0x010F, "Maker")], [TIME])))
    cards.read_source(source, CardFile(path="a.jpg", size=source.size))
    fresh = Allowance()
    assert 0 < fresh.steps - source.allowance.steps < 20
    assert source.allowance.handed == fresh.handed


@pytest.mark.parametrize(
    ("kind", "count", "reads"),
    [(1, 999, fallback.MOST_READS + 1), (5, 999, fallback.MOST_READS + 1), (2, 1 << 20, 20)],
)
def test_the_library_is_stopped_by_its_reads_and_by_their_bytes(
    kind: int, count: int, reads: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    asked: list[int] = []
    taken: list[int] = []
    counted = fallback._Counted  # noqa: SLF001 - it is what the library reads from

    class Watched(counted):  # type: ignore[misc, valid-type]
        def read(self, size: int | None = -1, /) -> bytes:
            asked.append(1)
            data = bytes(super().read(size))
            taken.append(len(data))
            return data

    monkeypatch.setattr(fallback, "_Counted", Watched)
    data = b"II*\0" + hostile.for_the_library(kind, count)[4:]
    assert not fallback.read(Memory(data), FactsBuilder())
    assert fallback.MOST_READS + 1 >= len(asked) > 10
    assert len(asked) <= reads
    assert sum(taken) <= fallback.MOST_BYTES


def test_what_the_library_says_is_made_printable() -> None:
    data = exif_tiff([LITTLE.text(0x010F, "Ma\x1bker\r\n" + "x" * 900)], [TIME])
    found = FactsBuilder()
    assert fallback.read(Memory(data), found)
    make = found.facts["make"]
    assert make.isprintable()
    assert make.startswith("Ma ker")
    assert len(make) <= directories.MOST_TEXT
