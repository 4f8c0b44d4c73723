"""Whatever stands under a maker's tags: the decoder raises nothing, and says nothing nonsensical."""

from __future__ import annotations

import math
from collections.abc import Sequence

import pytest
from hypothesis import given
from hypothesis import strategies as st

from cardmaking.tiff import (
    ASCII,
    RAT,
    S16,
    S32,
    SIZES,
    SRAT,
    U8,
    U16,
    U32,
    UNDEF,
    Entry,
    directory,
)
from fuzzing.forms import FORMS, Form
from reading.builders import LITTLE, NOTE, exif_tiff
from reading.builders import jpeg as jpeg_of
from sorter.model.frame import Facts
from sorter.reading.builder import FactsBuilder
from sorter.reading.containers import jpeg
from sorter.reading.source import Memory

MODELS = ["", "ILCE-7M3", "ILCE-6000", "NEX-6", "DSC-RX100", "SLT-A77V", "Canon EOS R5"]
KINDS = [U8, ASCII, U16, U32, RAT, UNDEF, S16, S32, SRAT]


@st.composite
def entries(draw: st.DrawFn, tags: Sequence[int]) -> list[Entry]:
    """Entries under these tags with values of any type, count and content."""
    drawn = draw(st.lists(st.sampled_from(tags), max_size=10))
    made = []
    for tag in drawn:
        kind, count = draw(st.sampled_from(KINDS)), draw(st.integers(0, 40))
        size = count * SIZES[kind]
        value = draw(st.binary(max_size=min(size, 40)))
        fill = draw(st.sampled_from([b"\0", b"\1", b"\xff"]))
        made.append(Entry(tag, kind, count, value.ljust(size, fill)))
    return made


def said(make: str, model: str, note: Entry) -> Facts:
    """The facts by the reader itself, without the net that the card's loop has."""
    main = [LITTLE.text(0x010F, make), LITTLE.text(0x0110, model)]
    found = FactsBuilder()
    jpeg.read(Memory(jpeg_of(exif_tiff(main, [note]))), found)
    return found.built()


def check(facts: Facts) -> None:
    """What no camera can say, whatever it writes."""
    near, far = facts.focus_near_m, facts.focus_far_m
    assert (near is None) == (far is None)
    assert near is None or far is None or 0 < near <= far
    assert facts.shot_number is None or facts.shot_number >= 1
    assert facts.planned is None or facts.planned >= 1
    assert facts.counter is None or facts.counter >= 1
    assert facts.since_power_on_cs is None or facts.since_power_on_cs >= 1
    assert facts.merged_from is None or facts.merged
    offset = facts.bracket_offset_ev
    assert offset is None or math.isfinite(offset)


@pytest.mark.parametrize("form", FORMS, ids=lambda form: form.name)
@given(data=st.data())
def test_a_decoder_takes_any_values(form: Form, data: st.DataObject) -> None:
    listed = data.draw(entries(form.tags))
    model = data.draw(st.sampled_from(MODELS))
    check(said(form.make, model, LITTLE.placed(NOTE, form.block(listed))))


@given(rest=st.binary(max_size=200), mark=st.sampled_from([b"IIIITwaR", b"MMMMRawT"]))
def test_a_table_of_its_own_form_takes_any_bytes(rest: bytes, mark: bytes) -> None:
    for place in (b"\x0c\0\0\0", b"\0\0\0\x0c", b""):
        check(said("Phase One A/S", "", LITTLE.raw(NOTE, mark + place + rest)))


@given(entry=entries([0x0001]), first=st.binary(max_size=24))
def test_a_note_takes_any_first_bytes(entry: list[Entry], first: bytes) -> None:
    bare = {form.make for form in FORMS if not form.header}
    for make in (*sorted(bare), "Unheard-of"):
        check(said(make, "", LITTLE.raw(NOTE, first + directory("<", entry, 0))))
