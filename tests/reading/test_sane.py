"""What no camera means is taken back, whichever decoder said it."""

from __future__ import annotations

import math

import pytest

from cardmaking.tiff import S32, directory
from reading.builders import LITTLE, TIME, builder, exif_tiff, jpeg, with_note
from sorter.model.values import Preview
from sorter.reading import previews, sane
from sorter.reading.builder import FactsBuilder, FoundFacts
from sorter.reading.source import Memory


@pytest.mark.parametrize(
    "said",
    [
        FoundFacts(width=-30),
        FoundFacts(shot_number=-1),
        FoundFacts(counter=-1),
        FoundFacts(merged_from=0),
        FoundFacts(iso=1e10),
        FoundFacts(bracket_offset_ev=786.2),
        FoundFacts(bracket_offset_ev=math.nan),
        FoundFacts(focus_near_m=-0.001, focus_far_m=2.0),
        FoundFacts(focus_near_m=math.nan, focus_far_m=math.nan),
    ],
)
def test_what_cannot_be_is_not_said(said: FoundFacts) -> None:
    found = FactsBuilder(facts=said)
    sane.settle(found)
    assert set(found.facts.values()) == {None}


def test_what_can_be_stays() -> None:
    said = FoundFacts(width=6000, planned=40, focus_near_m=0.3, focus_far_m=math.inf, iso=200.0)
    found = FactsBuilder(facts=said.copy())
    sane.settle(found)
    assert found.facts == said


def test_a_preview_lies_within_the_file_and_has_bytes() -> None:
    source, found = Memory(b"\xff\xd8\xff" + b"\0" * 97), FactsBuilder()
    for offset, length in ((-1, 5), (0, 0), (0, 101), (0, -1), (100, 1)):
        previews.take_sized(source, found, offset, length, (9, 9))
    assert found.previews == []
    previews.take_sized(source, found, 0, 100, (9, -9))
    assert found.previews == [Preview(offset=0, length=100)]


def test_a_width_of_a_signed_type_is_read_and_one_below_zero_is_none() -> None:
    """TIFF 6.0, section 2: type 9 is a signed number of 32 bits."""
    sizes = [LITTLE.numbers(0xA002, S32, 6000), LITTLE.numbers(0xA003, S32, -4000)]
    said = builder(jpeg(exif_tiff([LITTLE.text(0x010F, "Maker")], [TIME, *sizes]))).facts
    assert (said.get("width"), said.get("height")) == (6000, None)


def test_a_makers_count_below_zero_is_none() -> None:
    """Found by the fuzzer: the shot number of a note without a header, as a signed number."""
    for stored, said in ((7, 7), (-1, None)):
        note = directory("<", [LITTLE.numbers(0xB04A, S32, stored)], 0)
        assert with_note("SONY", note).shot_number == said
