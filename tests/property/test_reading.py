"""Whatever the bytes are: the reader ends soon, raises nothing, and makes up nothing."""

from __future__ import annotations

import io
import struct
import time
from collections.abc import Callable
from functools import cache
from itertools import chain as chained

import pytest
from hypothesis import given
from hypothesis import strategies as st
from PIL import Image

from cardmaking import containers
from fuzzing.seeds import shot
from reading import small
from sorter.model.card import CardFile
from sorter.model.frame import Facts, ReadFile
from sorter.model.kinds import Role
from sorter.model.values import Moment
from sorter.reading import directories
from sorter.reading.builder import FactsBuilder
from sorter.reading.containers import boxes, cr3, crw, heif, jpeg, raf, rw2, tiff, wrapped, x3f
from sorter.reading.containers.recognise import Reader, recognise
from sorter.reading.directories import Tiff
from sorter.reading.frames import join
from sorter.reading.source import Memory

READERS: list[tuple[bytes, Reader]] = [
    (b"\xff\xd8\xff\xe1", jpeg.read),
    (b"\0\0\0\x10ftypcrx \0\0\0\0", cr3.read),
    (b"\0\0\0\x10ftypheic\0\0\0\0", heif.read),
    (b"II*\0\x08\0\0\0", tiff.read),
    (b"MM\0*\0\0\0\x08", tiff.read),
    (b"IIU\0\x18\0\0\0" + b"\0" * 16, rw2.read),
    (raf.MAGIC, raf.read),
    (crw.MAGIC + b"\0" * 12, crw.read),
    (x3f.MAGIC + b"\2\0\2\0" + b"\0" * 60, x3f.read),
    (b"\x89PNG\r\n\x1a\n", wrapped.read_png),
    (b"RIFF\0\1\0\0WEBP", wrapped.read_webp),
    (b"\0\0\0\x0cJXL \r\n\x87\n", wrapped.read_boxes),
    (b"\0MRM\0\0\1\0", wrapped.read_mrw),
]
MAKES = ["Canon", "OLYMPUS", "OM Digital Solutions", "Panasonic"]


@cache
def whole(make: str, kind: str) -> bytes:
    out = io.BytesIO()
    Image.new("RGB", (32, 24)).save(out, "JPEG")
    if kind == "jpeg":
        return containers.jpeg(shot(make), out.getvalue())
    if kind == "cr3":
        return containers.cr3(shot(make), out.getvalue(), out.getvalue(), out.getvalue(), 256)
    return containers.orf(shot(make), out.getvalue(), 256)


def said(data: bytes, head_size: int | None = None) -> Facts:
    """The facts by the reader itself, without the net that the card's loop has."""
    source = Memory(data, head_size)
    container = recognise(source)
    found = FactsBuilder(container="" if container is None else container.name)
    if container is not None and container.read is not None:
        container.read(source, found)
    return found.built()


@given(data=st.binary(max_size=600), start=st.integers(0, 64), order=st.sampled_from("<>"))
def test_the_walk_takes_any_bytes(data: bytes, start: int, order: str) -> None:
    found = directories.directory(Tiff(Memory(data), 0, order, len(data)), start)
    if found is None:
        return
    for tag in found.entries:
        for ask in (found.raw, found.numbers, found.ratios, found.text):
            ask(tag)
    assert len(list(directories.chain(found))) <= directories.MOST_DIRECTORIES + 1


@given(data=st.binary(max_size=600))
def test_the_box_walk_takes_any_bytes(data: bytes) -> None:
    found = list(boxes.boxes(Memory(data), 0, len(data)))
    assert len(found) <= boxes.MOST_BOXES
    assert all(box.end >= box.start for box in found)


@pytest.mark.parametrize(("start", "read"), READERS)
@given(rest=st.binary(max_size=600))
def test_every_reader_takes_any_bytes(start: bytes, read: Reader, rest: bytes) -> None:
    read(Memory(start + rest), FactsBuilder())


FIXTURES = [(make, "jpeg") for make in MAKES] + [("Canon", "cr3"), ("OM Digital Solutions", "orf")]


@pytest.mark.parametrize(("make", "kind"), FIXTURES)
@given(st.data())
def test_every_reader_takes_changed_bytes(make: str, kind: str, data: st.DataObject) -> None:
    changed = bytearray(whole(make, kind))
    places = st.integers(0, min(len(changed), 4000) - 1)
    for place in data.draw(st.lists(places, min_size=1, max_size=8)):
        changed[place] = data.draw(st.sampled_from([0, 1, 2, 0x7F, 0x80, 0xFE, 0xFF]))
    said(bytes(changed))


@pytest.mark.parametrize("name", small.SMALL)
@given(st.data())
def test_every_container_takes_changed_bytes(name: str, data: st.DataObject) -> None:
    changed = bytearray(small.SMALL[name]())
    places = st.integers(0, len(changed) - 1)
    for place in data.draw(st.lists(places, min_size=1, max_size=8)):
        changed[place] = data.draw(st.sampled_from([0, 1, 2, 0x7F, 0x80, 0xFE, 0xFF]))
    source = Memory(bytes(changed), data.draw(st.sampled_from([None, 32])))
    container, found = recognise(source), FactsBuilder()
    if container is not None and container.read is not None:
        container.read(source, found)
    assert all(0 <= one.offset < one.offset + one.length <= len(changed) for one in found.previews)


def lengths(data: bytes) -> chained[int]:
    """Every length up to 2 KiB, then in steps that meet no layout's grain."""
    return chained(range(min(2048, len(data))), range(2048, len(data), 37))


@pytest.mark.parametrize(("make", "kind"), FIXTURES)
def test_a_cut_file_never_tells_a_wrong_value(make: str, kind: str) -> None:
    complete = said(whole(make, kind))
    for length in lengths(whole(make, kind)):
        for name, value in said_fields(said(whole(make, kind)[:length])):
            assert value in allowed(name, complete), (length, name, value)


def said_fields(facts: Facts) -> list[tuple[str, object]]:
    """What was said at all."""
    silent = Facts()
    names = Facts.__slots__
    pairs = [(name, getattr(facts, name)) for name in names]
    return [(name, value) for name, value in pairs if value != getattr(silent, name)]


def allowed(name: str, complete: Facts) -> list[object]:
    """The value of the whole file, and what is less exact but as true."""
    values = [getattr(complete, name)]
    if name in {"width", "height"}:
        values += [64, 2]  # the raw picture's own size, where the Exif directory is cut off
    if name == "moment" and complete.moment is not None:
        local = complete.moment.local_s
        values += [Moment(local_s=local), Moment(local_s=local, digits="13")]
    return values


@pytest.mark.parametrize(("make", "kind"), FIXTURES)
def test_small_windows_tell_the_same(make: str, kind: str) -> None:
    assert said(whole(make, kind), head_size=16) == said(whole(make, kind))


def self_pointing() -> bytes:
    """A directory whose pointers lead back to it, and lists of absurd length."""
    entry = (0x8769).to_bytes(2, "little") + b"\4\0\1\0\0\0\x08\0\0\0"
    more = b"".join(
        tag.to_bytes(2, "little") + b"\4\0\xff\xff\xff\xff\x08\0\0\0"
        for tag in (0x0111, 0x0117, 0x014A, 0x0144, 0x0145)
    )
    return b"II*\0\x08\0\0\0\x06\0" + entry + more + b"\x08\0\0\0" + b"\0" * 64


def many_items() -> bytes:
    """An iloc box of items with thousands of extents whose fields have no width."""
    items = struct.pack(">HHH", 1, 0, 4096) * 4096
    place = struct.pack(">I4sI2sH", len(items) + 16, b"iloc", 0, b"\0\0", 4096) + items
    meta = struct.pack(">I4sI", len(place) + 12, b"meta", 0) + place
    return b"\0\0\0\x10ftypheic\0\0\0\0" + meta


def heaps_in_heaps() -> bytes:
    """Heaps that name the same places again and again."""
    inner = small.heap((0x5834, b"\0"))
    for _ in range(4):
        inner = small.heap(*[(0x2807, inner)] * 9)
    return crw.MAGIC + b"\0" * 12 + inner


def many_sections() -> bytes:
    """Sections that all are the same long list of properties."""
    content = small.listed({"A" * 60: "B" * 60} | {str(one): "" for one in range(3_000)})
    return small.x3f(*[(b"PROP", content)] * 60)


def many_sub_directories() -> bytes:
    """Sub-directories that all point at the first directory, as many as there can be."""
    entry = (0x014A).to_bytes(2, "little") + b"\4\0\xff\x3f\0\0\x1a\0\0\0"
    return b"II*\0\x08\0\0\0\x01\0" + entry + b"\x08\0\0\0" + b"\x08\0\0\0" * 0x3FFF


@pytest.mark.parametrize(
    "make",
    [
        self_pointing,
        many_sub_directories,
        many_items,
        heaps_in_heaps,
        many_sections,
        lambda: b"\xff\xd8\xff\xe1" + b"\xff\xe1\0\0" * 20_000,
        lambda: b"\0\0\0\x10ftypheic\0\0\0\0" + b"\0\0\0\x08meta" * 20_000,
        lambda: b"\0\0\0\x10ftypcrx \0\0\0\0" + b"\0\0\0\0moov" * 20_000,
        lambda: b"II*\0\x08\0\0\0\xff\xff" + b"\x69\x87\4\0\xff\xff\xff\xff\x08\0\0\0" * 5_000,
    ],
)
def test_no_file_takes_long(make: Callable[[], bytes]) -> None:
    """Field case V9: 50 ms a file; measured in processor time, with room for slow machines."""
    data = make()
    before = time.process_time()
    said(data)
    assert time.process_time() - before < 0.2


names = st.sampled_from(
    ["IMG_0001", "_MG_0001", "IMG_0002", "img_0001", "DSC_0001", "a", "IMG_0001.JPG", ""]
)
extensions = st.sampled_from(
    [
        ("CR3", Role.RAW),
        ("JPG", Role.IMAGE),
        ("jpg", Role.IMAGE),
        ("xmp", Role.SIDECAR),
        ("JPG.xmp", Role.SIDECAR),
        ("MP4", Role.CLIP),
        ("WAV", Role.SOUND),
        ("x", Role.OTHER),
    ]
)


@st.composite
def read_files(draw: st.DrawFn) -> list[ReadFile]:
    files = {}
    for _ in range(draw(st.integers(0, 12))):
        extension, role = draw(extensions)
        path = f"{draw(st.sampled_from(['D/', 'E/', '']))}{draw(names)}.{extension}"
        at = draw(st.one_of(st.none(), st.integers(0, 6)))
        moment = None if at is None or role not in {Role.RAW, Role.IMAGE} else Moment(local_s=at)
        files[path] = ReadFile(
            file=CardFile(path=path, size=1),
            role=role,
            is_picture=draw(st.booleans()),
            facts=Facts(moment=moment),
        )
    return list(files.values())


@given(read_files())
def test_joining_loses_and_doubles_nothing(files: list[ReadFile]) -> None:
    frames, loose = join(files)
    out = [file.path for frame in frames for file in frame.files]
    out += [file.path for _, file in loose]
    assert sorted(out) == sorted(file.path for file in files)
    assert [frame.path for frame in frames] == sorted(frame.path for frame in frames)
    assert all(frame.facts.moment is not None for frame in frames)


@given(read_files(), st.randoms())
def test_joining_does_not_depend_on_the_order_of_files(
    files: list[ReadFile], random: object
) -> None:
    shuffled = list(files)
    random.shuffle(shuffled)  # type: ignore[attr-defined]
    as_sets = [
        {frozenset(file.path for file in frame.files) for frame in join(some)[0]}
        for some in (files, shuffled)
    ]
    assert as_sets[0] == as_sets[1]
