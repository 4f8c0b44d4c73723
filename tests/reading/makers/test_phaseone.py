"""Phase One's notes to facts.

Numbers are values of real frames as published in general-purpose metadata libraries' tag tables,
or read from a real file of the body that is named, put into synthetic notes.
"""

from __future__ import annotations

import struct

import pytest

from reading.builders import with_note
from sorter.model.frame import Facts
from sorter.model.kinds import Bracketing

Row = tuple[int, bytes | int]


def note(*rows: Row, order: str = "<", mark: bytes = b"IIIITwaR") -> bytes:
    """A table right behind its header, and long values behind it."""
    table, behind = b"", b""
    values_at = 12 + 8 + 16 * len(rows)
    for tag, value in rows:
        if isinstance(value, int):
            table += struct.pack(f"{order}IIII", tag, 4, 4, value)
        elif len(value) <= 4:
            table += struct.pack(f"{order}III", tag, 1, len(value)) + value.ljust(4, b"\0")
        else:
            at = values_at + len(behind)
            table += struct.pack(f"{order}IIII", tag, 1, len(value), at)
            behind += value
    head = mark + struct.pack(f"{order}I", 12) + struct.pack(f"{order}II", len(rows), 0)
    return head + table + behind


def facts(*rows: Row) -> Facts:
    return with_note("Phase One A/S", note(*rows))


def sequence(kind: int, frame: int = 3, count: int = 48) -> tuple[Row, ...]:
    return (0x0262, b"Kelp-0007\0"), (0x0263, kind), (0x0264, frame), (0x0265, count)


@pytest.mark.parametrize(
    ("kind", "bracketing"),
    [
        (0, Bracketing.EXPOSURE),
        (1, Bracketing.OTHER),
        (2, Bracketing.OTHER),
        (5, Bracketing.EXPOSURE),
        (6, Bracketing.FOCUS),
    ],
)
def test_phase_one_sequences(kind: int, bracketing: Bracketing) -> None:
    said = facts(*sequence(kind))
    assert (said.bracketing, said.shot_number, said.planned) == (bracketing, 3, 48)
    assert said.burst_id == "Kelp-0007"


@pytest.mark.parametrize("kind", [3, 4, 77])
def test_phase_one_sequences_that_are_no_bracket(kind: int) -> None:
    said = facts(*sequence(kind))
    assert (said.bracketing, said.shot_number, said.planned, said.burst_id) == (
        None,
        None,
        None,
        "",
    )


def test_phase_one_numbers_that_cannot_be() -> None:
    said = facts(*sequence(6, frame=0, count=1))
    assert (said.bracketing, said.shot_number, said.planned) == (Bracketing.FOCUS, None, None)


def test_phase_one_fields_without_a_sequence_say_nothing() -> None:
    said = facts((0x0262, b"\0"), *sequence(6)[1:])
    assert (said.bracketing, said.shot_number) == (None, None)


def test_phase_one_serial_and_lens() -> None:
    """Read from a real file with a Credo 40."""
    rows: tuple[Row, ...] = (0x0102, b"LD001055\0"), (0x0412, b"Mamiya LS 80mm f/2.8 D\0")
    said = facts(*rows)
    assert (said.serial, said.lens) == ("LD001055", "Mamiya LS 80mm f/2.8 D")
    big = with_note("Phase One A/S", note(*rows, (0x0263, 6), order=">", mark=b"MMMMRawT"))
    assert (big.serial, big.lens) == (said.serial, said.lens)


def test_phase_one_short_texts_stand_in_their_rows() -> None:
    assert facts((0x0102, b"A12"), (0x0263, 6)).serial == "A12"


WHOLE = note((0x0102, b"LD001055\0"), (0x0263, 6))


@pytest.mark.parametrize(
    "data",
    [
        b"IIIITwaX" + WHOLE[8:],
        WHOLE[:8] + struct.pack("<I", 1 << 30) + WHOLE[12:],
        WHOLE[:12] + struct.pack("<I", 1) + WHOLE[16:],
        WHOLE[:12] + struct.pack("<I", 100_000) + WHOLE[16:],
        WHOLE[:10],
        b"IIII",
    ],
)
def test_phase_one_notes_that_hold_no_table(data: bytes) -> None:
    assert with_note("Phase One A/S", data).serial == ""
