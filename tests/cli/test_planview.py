from __future__ import annotations

import unicodedata
from collections.abc import Iterable

import pytest
from hypothesis import given, settings

from handoff.pools import entry
from planning.carrying import plan_of
from planning.heaps import accounts
from sorter.cli.planview import MOST_NAMED, folders, named, tree, with_reason
from sorter.model.kinds import Kind, Role
from sorter.model.plan import Entry, Placement, State
from sorter.model.row import Row

FOLDER = "0002_burst_3"


def placement(source: str, destination: str, size: int = 1000) -> Placement:
    row = Row(source=source, destination=destination, kind=Kind.BURST, role=Role.RAW, bytes=size)
    return Placement(row=row)


def kept(*names: str, folder: str = FOLDER) -> list[Placement]:
    """Files that keep their names."""
    return [placement(f"DCIM/100TIDES/{name}", f"{folder}/{name}") for name in names]


def twigs(placements: Iterable[Placement]) -> list[str]:
    """The lines below the first folder, without the branches."""
    return [line[8:] for line in tree("pool", placements)[2:]]


def test_numbers_that_count_on_share_a_line_for_each_extension() -> None:
    names = [f"IMG_{n:04d}.{extension}" for n in (9, 10, 11) for extension in ("JPG", "CR3")]
    assert twigs(kept(*names)) == [
        "IMG_0009.CR3 … IMG_0011.CR3  3 files",
        "IMG_0009.JPG … IMG_0011.JPG  3 files",
    ]


@pytest.mark.parametrize(
    ("names", "lines"),
    [
        (["IMG_0001.JPG"], ["IMG_0001.JPG"]),
        (["IMG_0001.JPG", "IMG_0002.JPG"], ["IMG_0001.JPG IMG_0002.JPG  2 files"]),
        (["IMG_0001.JPG", "IMG_0003.JPG"], ["IMG_0001.JPG", "IMG_0003.JPG"]),
        (["IMG_0001.JPG", "POOL0002.JPG"], ["IMG_0001.JPG", "POOL0002.JPG"]),
        (["limpet.JPG", "whelk.JPG"], ["limpet.JPG", "whelk.JPG"]),
        (["P1", "P2", "P3"], ["P1 … P3  3 files"]),
        (["IMG_0001.CR3.xmp", "IMG_0002.CR3.xmp"], ["IMG_0001.CR3.xmp", "IMG_0002.CR3.xmp"]),
    ],
)
def test_what_does_not_count_on_stands_alone(names: list[str], lines: list[str]) -> None:
    assert twigs(kept(*names)) == lines


def test_a_run_across_the_end_of_the_counter_is_two_lines() -> None:
    # DCF counts from 0001 to 9999 and begins anew (CIPA DC-009).
    names = ["IMG_9998.JPG", "IMG_9999.JPG", "IMG_0001.JPG", "IMG_0002.JPG"]
    assert twigs(kept(*names)) == [
        "IMG_0001.JPG IMG_0002.JPG  2 files",
        "IMG_9998.JPG IMG_9999.JPG  2 files",
    ]


def test_a_renamed_file_stands_alone_with_where_it_is_on_the_card() -> None:
    renamed = placement("DCIM/101TIDES/IMG_0002.JPG", f"{FOLDER}/IMG_0002_2.JPG")
    assert twigs([*kept("IMG_0001.JPG", "IMG_0002.JPG", "IMG_0003.JPG"), renamed]) == [
        "IMG_0002_2.JPG  (on the card DCIM/101TIDES/IMG_0002.JPG)",
        "IMG_0001.JPG … IMG_0003.JPG  3 files",
    ]


def test_folders_stand_by_name_with_their_files_and_bytes() -> None:
    plan = [*kept("IMG_0009.JPG", folder="singles"), *kept("IMG_0001.JPG", "IMG_0002.JPG")]
    assert tree("/home/ada/pool", plan) == (
        "/home/ada/pool",
        "├── 0002_burst_3/  2 files, 2 kB",
        "│   └── IMG_0001.JPG IMG_0002.JPG  2 files",
        "└── singles/  1 file, 1 kB",
        "    └── IMG_0009.JPG",
    )


def test_nothing_to_carry_is_the_root_alone() -> None:
    assert tree("pool", []) == ("pool",)


def test_what_a_terminal_would_obey_is_spelled_out_everywhere() -> None:
    plan = placement("DCIM/\x1b[2J.JPG", "bad\x1b[1m/_[2J.JPG")
    lines = tree("pool\x07", [plan, *kept("a\nb.JPG")])
    assert lines[0] == "pool\\x07"
    assert "└── bad\\x1b[1m/  1 file, 1 kB" in lines
    assert "    └── _[2J.JPG  (on the card DCIM/\\x1b[2J.JPG)" in lines
    assert "│   └── a\\nb.JPG" in lines


@settings(max_examples=50, deadline=None)
@given(accounts())
def test_every_file_of_a_plan_is_counted_once(account: object) -> None:
    plan = [each for each in plan_of(account).placements if each.row.destination]  # type: ignore[arg-type]
    heads = [line for line in tree("pool", plan)[1:] if line[:4] in ("├── ", "└── ")]
    assert sum(int(head.partition("/  ")[2].split()[0]) for head in heads) == len(plan)
    lines = [line[8:] for line in tree("pool", plan)[1:] if line[:4] in ("│   ", "    ")]
    shared = [int(line.split()[-2]) for line in lines if line.endswith(" files")]
    assert sum(shared) + len(lines) - len(shared) == len(plan)
    assert not {unicodedata.category(sign) for line in lines for sign in line} & {"Cc", "Cs"}


# ---- the last lines -------------------------------------------------------------------------


def test_folders_of_what_was_carried_with_files_and_bytes() -> None:
    carried = [entry("singles/A.JPG"), entry("clips/MVI_1.MP4"), entry("singles/B.JPG")]
    sizes = [each.row.bytes for each in carried]
    assert folders(carried) == (("clips", 1, sizes[1]), ("singles", 2, sizes[0] + sizes[2]))


def test_a_list_names_some_and_counts_the_rest() -> None:
    assert list(named("left", [])) == []
    assert list(named("left", ["a\x1b"])) == ["left", "  a\\x1b"]
    many = [f"IMG_{n:04d}.JPG" for n in range(MOST_NAMED + 3)]
    lines = list(named("left", iter(many)))
    assert lines[1 : MOST_NAMED + 1] == [f"  {name}" for name in many[:MOST_NAMED]]
    assert lines[-1] == "  and 3 more; the manifest names them all"
    assert len(lines) == MOST_NAMED + 2


def _told(said: tuple[str, ...], notes: str) -> Entry:
    row = Row(
        source="DCIM/A.JPG",
        kind=Kind.OTHER,
        role=Role.OTHER,
        bytes=1,
        remarks=tuple(filter(None, notes.split("; "))),
    )
    return Entry(
        number=1, run=1, placement=Placement(row=row, carrying_notes=said), state=State.FAILED
    )


@pytest.mark.parametrize(
    ("said", "notes", "text"),
    [
        ((), "", "DCIM/A.JPG"),
        (("cannot be read",), "no Exif", "DCIM/A.JPG: cannot be read"),
        (("one", "two"), "", "DCIM/A.JPG: one, two"),
        ((), "no Exif; empty", "DCIM/A.JPG: no Exif, empty"),
    ],
)
def test_a_file_is_named_with_what_is_said_of_it(
    said: tuple[str, ...], notes: str, text: str
) -> None:
    assert with_reason(_told(said, notes)) == text
