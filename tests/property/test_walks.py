"""The two walks that all formats are made of: what was written comes back, and everything ends.

TIFF 6.0, section 2 (directories; CIPA DC-008 builds Exif of them); ISO/IEC 14496-12, 4.2 (boxes;
ISO/IEC 23008-12 builds HEIF of them). The writer of directories is the card maker's, which shares no
code with the reader.
"""

from __future__ import annotations

import struct
from itertools import pairwise

from hypothesis import given
from hypothesis import strategies as st

from cardmaking.tiff import ASCII, RAT, S8, S16, S32, SRAT, U8, U16, U32, UNDEF, ByteOrder, Writer
from cardmaking.tiff import directory as written
from sorter.model.allowance import MOST_STEPS
from sorter.reading import directories
from sorter.reading.containers import boxes, tiff
from sorter.reading.directories import Directory, Tiff
from sorter.reading.source import Memory

ORDERS = st.sampled_from(["<", ">"])
HEADS = st.sampled_from([None, 0, 16, 64])
SPANS = {
    U8: (0, 0xFF),
    U16: (0, 0xFFFF),
    U32: (0, 0xFFFFFFFF),
    S8: (-0x80, 0x7F),
    S16: (-0x8000, 0x7FFF),
    S32: (-0x80000000, 0x7FFFFFFF),
}
Value = tuple[int, list[int] | list[tuple[int, int]] | str | bytes]


def numbers(kind: int) -> st.SearchStrategy[Value]:
    low, high = SPANS[kind]
    return st.lists(st.integers(low, high), min_size=1, max_size=40).map(lambda them: (kind, them))


def pairs(kind: int) -> st.SearchStrategy[Value]:
    low, high = SPANS[U32 if kind == RAT else S32]
    part = st.integers(low, high)
    return st.lists(st.tuples(part, part), min_size=1, max_size=9).map(lambda them: (kind, them))


TEXTS = st.text(st.characters(categories=["L", "N", "P"]), max_size=30)
VALUES = st.one_of(
    *map(numbers, SPANS),
    pairs(RAT),
    pairs(SRAT),
    TEXTS.map(lambda text: (ASCII, text)),
    st.binary(min_size=1, max_size=80).map(lambda data: (UNDEF, data)),
)
TAGGED = st.dictionaries(st.integers(0, 0xFFFF), VALUES, min_size=1, max_size=30)


def table(order: ByteOrder, values: dict[int, Value], at: int) -> bytes:
    """The directory of these values, for this position."""
    w = Writer(order)
    rows = []
    for tag, (kind, value) in values.items():
        if isinstance(value, str):
            rows.append(w.text(tag, value))
        elif isinstance(value, bytes):
            rows.append(w.raw(tag, value))
        elif kind in {RAT, SRAT}:
            rows.append(w.ratios(tag, *value, kind=kind))
        else:
            rows.append(w.numbers(tag, kind, *value))
    return written(order, rows, at)


@given(order=ORDERS, values=TAGGED, base=st.integers(0, 40), head=HEADS)
def test_what_was_written_into_a_directory_is_read(
    order: ByteOrder, values: dict[int, Value], base: int, head: int | None
) -> None:
    """TIFF 6.0, section 2: types 1 to 10, values of up to four bytes in the entry itself."""
    data = b"\xaa" * (base + 8) + table(order, values, 8)
    found = directories.directory(Tiff(Memory(data, head), base, order, len(data)), 8)
    assert found is not None
    assert found.entries.keys() == values.keys()
    for tag, (kind, value) in values.items():
        assert said(found, tag, kind) == value, (tag, kind)


def said(found: Directory, tag: int, kind: int) -> list[int] | list[tuple[int, int]] | str | bytes:
    """The value by the question that fits its type; the short question agrees with the long one."""
    if kind == ASCII:
        return found.text(tag)
    if kind == UNDEF:
        return found.raw(tag)
    if kind in {RAT, SRAT}:
        assert found.ratio(tag) == found.ratios(tag)[0]
        return list(found.ratios(tag))
    assert found.number(tag) == found.numbers(tag)[0]
    assert found.ratio(tag) == (found.numbers(tag)[0], 1)
    return list(found.numbers(tag))


@given(
    order=ORDERS,
    values=TAGGED,
    cut=st.integers(0, 2000),
    head=HEADS,
)
def test_a_cut_directory_tells_what_was_written_or_nothing(
    order: ByteOrder, values: dict[int, Value], cut: int, head: int | None
) -> None:
    """Field case: heads cut at any byte never give a wrong value for a right one."""
    data = table(order, values, 0)[:cut]
    found = directories.directory(Tiff(Memory(data, head), 0, order, len(data)), 0)
    for tag in found.entries if found is not None else ():
        assert found is not None
        kind, value = values[tag]
        got = said_at_all(found, tag, kind)
        assert got in (value, None), (tag, kind)


def said_at_all(found: Directory, tag: int, kind: int) -> object:
    """The value; None where it is not all there."""
    return said(found, tag, kind) if found.raw(tag) else None


# ---- directories that point anywhere --------------------------------------------------------

NODES = 12
ENTRIES = 6
SIZE = 2 + 12 * ENTRIES + 4
TARGETS = st.one_of(
    st.integers(0, NODES - 1).map(lambda node: 8 + node * SIZE),
    st.sampled_from([0, 1, 8, 0xFFFFFFFF, 0x80000000]),
    st.integers(0, NODES * SIZE),
)
ROWS = st.tuples(
    st.sampled_from([0x014A, 0x8769, 0x927C, 0x0100, 0x0111, 0x0117, 0x0201]),
    st.sampled_from([1, 3, 4, 5, 7, 9, 13, 99]),
    st.sampled_from([0, 1, 2, 16, 400, 0xFFFFFFFF]),
    TARGETS,
)
GRAPHS = st.lists(
    st.tuples(st.lists(ROWS, min_size=ENTRIES, max_size=ENTRIES), TARGETS),
    min_size=NODES,
    max_size=NODES,
)


@given(order=ORDERS, graph=GRAPHS, head=HEADS)
def test_directories_that_point_anywhere_are_each_read_once(
    order: ByteOrder, graph: list[tuple[list[tuple[int, int, int, int]], int]], head: int | None
) -> None:
    """Field case: a directory that points at itself or its parent, a next one at FFFFFFFF."""
    data = Writer(order).header(8) + b"".join(
        struct.pack(f"{order}H", ENTRIES)
        + b"".join(struct.pack(f"{order}HHII", *row) for row in rows)
        + struct.pack(f"{order}I", following)
        for rows, following in graph
    )
    source = Memory(data, head)
    main = directories.opened(source, 0, len(data))
    if main is None:
        return
    found = list(tiff.pictures(main))
    places = [own(one) for one in found]
    assert len(places) == len(set(places))
    assert not source.allowance.spent
    for one in found:
        for tag in one.entries:
            inner = directories.below(one, tag)
            assert inner is None or own(inner) not in places


def own(found: Directory) -> tuple[int, int]:
    """What tells directories apart: an empty one may end where another one does."""
    return found.values_from, found.stated


@given(
    order=ORDERS,
    stated=st.integers(0, 0xFFFF),
    there=st.integers(0, 500),
    steps=st.integers(0, 600),
)
def test_no_more_entries_are_read_than_are_there_and_are_allowed(
    order: ByteOrder, stated: int, there: int, steps: int
) -> None:
    rows = b"".join(struct.pack(f"{order}HHII", tag, 3, 1, 0) for tag in range(there))
    source = Memory(struct.pack(f"{order}H", stated) + rows)
    source.allowance.steps = steps
    found = directories.directory(Tiff(source, 0, order, source.size), 0)
    expected = min(stated, there, steps, directories.MOST_ENTRIES)
    assert len(found.entries if found is not None else ()) == expected


# ---- boxes ----------------------------------------------------------------------------------

KINDS = st.binary(min_size=4, max_size=4)
BOXES = st.lists(st.tuples(KINDS, st.binary(max_size=40), st.booleans()), max_size=12)


def box(kind: bytes, content: bytes, *, large: bool, to_the_end: bool = False) -> bytes:
    """ISO/IEC 14496-12, 4.2: size 1 means a largesize of 64 bits, size 0 up to the end."""
    if to_the_end:
        return struct.pack(">I4s", 0, kind) + content
    if large:
        return struct.pack(">I4sQ", 1, kind, len(content) + 16) + content
    return struct.pack(">I4s", len(content) + 8, kind) + content


@given(them=BOXES, last=st.one_of(st.none(), KINDS), head=HEADS)
def test_what_was_written_as_boxes_is_walked(
    them: list[tuple[bytes, bytes, bool]], last: bytes | None, head: int | None
) -> None:
    data = b"".join(box(kind, content, large=large) for kind, content, large in them)
    expected = [(kind, content) for kind, content, _ in them]
    if last is not None:
        data += box(last, b"rest", large=False, to_the_end=True)
        expected.append((last, b"rest"))
    walked = boxes.boxes(Memory(data, head), 0, len(data))
    assert [(one.kind, data[one.start : one.end]) for one in walked] == expected


SIZES = st.one_of(st.integers(0, 60), st.sampled_from([0, 1, 7, 8, 0x7FFFFFFF, 0xFFFFFFFF]))
LARGE = st.one_of(st.integers(0, 60), st.sampled_from([1 << 63, (1 << 64) - 1]))


@given(them=st.lists(st.tuples(SIZES, LARGE), max_size=40), head=HEADS)
def test_boxes_of_any_size_end_and_never_lead_back(
    them: list[tuple[int, int]], head: int | None
) -> None:
    """Sizes below a box's own head, behind the end, over its neighbours."""
    data = b"".join(struct.pack(">I4sQ", size, b"free", large) for size, large in them)
    source = Memory(data, head)
    found = list(boxes.boxes(source, 0, len(data)))
    assert len(found) <= len(data) // 8
    assert all(one.start <= one.end for one in found)
    assert all(one.end < other.start for one, other in pairwise(found))
    assert source.allowance.steps >= MOST_STEPS - len(data) // 8 - 1


@given(path=st.lists(KINDS, min_size=1, max_size=20), content=st.binary(max_size=20), head=HEADS)
def test_a_path_of_nested_boxes_leads_to_the_innermost(
    path: list[bytes], content: bytes, head: int | None
) -> None:
    data = content
    for kind in reversed(path):
        data = box(kind, data, large=False)
    found = boxes.first(Memory(data, head), 0, len(data), *path)
    assert found is not None
    assert (found.kind, data[found.start : found.end]) == (path[-1], content)
