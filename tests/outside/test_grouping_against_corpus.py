"""Grouping held against real files: the corpus as one card (scripts/fetch_corpus).

It has no real bracket, burst or interval series as a whole: nobody publishes them. What it has are
files of one body a few seconds apart, of which names, tags and counters tell that they are tries, and
files that were made of one exposure. The table says which, what is right, and why.
"""

from __future__ import annotations

from collections import Counter
from functools import cache

import pytest

from outside import corpus
from sorter.disk.card import Card
from sorter.grouping.account import account_for
from sorter.model.kinds import Kind
from sorter.model.sequence import Account, Sequence
from sorter.reading.cards import read_card

APART = {
    "Fujifilm X100T, 10 to 18 s apart, single drive, bracketing off: another film simulation by the"
    " maker note, and the third ten stops off": [
        f"exv/exiv2-bug1179{letter}.jpg" for letter in "fgh"
    ],
    "Fujifilm X100T, 31 to 153 s apart, single drive: aperture or exposure compensation differ": [
        f"exv/exiv2-bug1179{letter}.jpg" for letter in "abcde"
    ],
    "Sony ILCE-6000, 5 to 41 s apart, single drive, neighbours by the shutter count: a zoom at 18, 18,"
    " 23, 24, 29, 30, 34, 35 and 50 mm, each with the next f-number or another width": [
        f"exv/exiv2-bug1153A{letter}.jpg" for letter in "cdefghijk"
    ],
    "Pentax K-3, 3 and 4 s apart, single drive, neighbours by the shutter count: zoomed to 10, 18 and 20 mm": [
        f"exv/exiv2-bug1144{letter}.jpg" for letter in "bcd"
    ],
    "Pentax K10D, 30 and 36 s apart, single drive, neighbours by the shutter count": [
        f"exv/exiv2-bug816{letter}.jpg" for letter in "bcd"
    ],
    "Pentax *ist DL, 57 and 84 s apart, single drive: lenses at 11, 70 and 110 mm": [
        f"exv/exiv2-bug1155{letter}.jpg" for letter in "gih"
    ],
    "Sony SLT-A77V, 46 to 84 s apart, single drive: five lenses": [
        f"exv/exiv2-bug1145{letter}.jpg" for letter in "badec"
    ],
    "Canon PowerShot S5 IS, 6 and 7 s apart: three views of one inn by hand": [
        f"exiv2/FurnaceCreekInn{number}.jpg" for number in ("", "2", "3")
    ],
    "Canon EOS 5D Mark III, 194 s apart: two lenses, focused at 2.20 and 3.02 m": [
        f"exv/exiv2-bug1252{letter}.jpg" for letter in "ba"
    ],
    "Nikon D600, 26 s apart: another lens": [
        f"exv/Sigma_{lens}_F1.4_DG_HSM_A.jpg" for lens in ("20mm", "50mm")
    ],
}
"""Files of which no two belong together, by the reason. Tags as exiftool tells them; that tries seconds
apart are no series is common practice, no source."""

TOGETHER = {
    "Nikon D5300, the same hundredth of a second and shutter count 9608: copies of one exposure": [
        "exv/Stonehenge.jpg",
        "exv/exiv2-bug1108.jpg",
    ],
    "Nikon D5300, the same hundredth of a second and shutter count 7757: copies of one exposure": [
        "exiv2/exiv2-bug922a.jpg",
        "exiv2/exiv2-bug1062.jpg",
    ],
    "Canon EOS 600D, the same hundredth of a second, serial number and exposure: one exposure": [
        "exv/TamronSP90mmF2.8DiVCUSDMacroF017.jpg",
        "exv/exiv2-g20.jpg",
    ],
}
"""Files that are of one exposure, by the reason."""

NOT_THERE = {Kind.FOCUS_BRACKET, Kind.EXPOSURE_BRACKET, Kind.INTERVAL}
"""Kinds of which the corpus has no series, so that none may be found in it."""


@pytest.fixture(autouse=True)
def _needed() -> None:
    corpus.need()


@cache
def account() -> Account:
    """The whole corpus grouped as one card."""
    card = Card(corpus.FOLDER)
    return account_for(read_card(card, card.listing()))


def sequences(files: list[str]) -> list[int]:
    """Which sequence each of the files lies in."""
    found = {
        file.path: number
        for number, each in enumerate(account().sequences)
        for frame in (*each.frames, *each.results)
        for file in frame.files
    }
    return [found[file] for file in files]


def test_every_frame_is_in_exactly_one_sequence_and_no_file_is_lost() -> None:
    grouped = Counter(
        file.path
        for each in account().sequences
        for frame in (*each.frames, *each.results)
        for file in frame.files
    )
    assert grouped.total() > 300
    assert set(grouped.values()) == {1}
    loose = {file.path for _, file in account().loose}
    assert loose.isdisjoint(grouped)
    every = {path for path in loose | set(grouped) if not path.startswith(corpus.DEPTH)}
    assert every == set(corpus.readings())


def test_no_margin_is_below_zero() -> None:
    margins = {
        each.frames[0].path: (each.grounds.margin, each.grounds.begins_margin)
        for each in account().sequences
    }
    assert {path: found for path, found in margins.items() if min(found) < 0} == {}


@pytest.mark.parametrize("reason", APART)
def test_tries_are_apart(reason: str) -> None:
    found = sequences(APART[reason])
    assert len(set(found)) == len(found), dict(zip(APART[reason], found, strict=True))


def test_what_only_the_film_look_tells_apart_is_called_unsure() -> None:
    # Three tries 3 and 4 s apart, manual focus, one exposure: they differ in nothing that is read.
    (found,) = [s for s in account().sequences if _has(s, "exv/exiv2-bug1179h.jpg")]
    assert "unsure: manual-stack or 3 singles" in found.notes


def _has(sequence: Sequence, path: str) -> bool:
    return any(frame.path == path for frame in sequence.frames)


@pytest.mark.parametrize("reason", TOGETHER)
def test_copies_of_one_exposure_are_together(reason: str) -> None:
    assert len(set(sequences(TOGETHER[reason]))) == 1


def test_no_series_is_found_that_is_not_there() -> None:
    found = [
        (each.kind, [frame.path for frame in each.frames])
        for each in account().sequences
        if each.kind in NOT_THERE and len(each.frames) > 1
    ]
    assert found == []
