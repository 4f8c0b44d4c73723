"""What of a card is in a shoot already: told by paths and bytes, never by times."""

from __future__ import annotations

import os
import shutil
from pathlib import Path

import pytest

import tides
from sorter.disk.card import Card
from sorter.disk.streams import Stream
from sorter.errors import CardGone
from sorter.model.plan import Entry, State
from sorter.pipeline import Report
from sorter.writing.carry import BATCH_FILES
from sorter.writing.ledger import Ledger
from writing.cards import (
    ANEMONES,
    LIMPETS,
    by_source,
    contents,
    destinations,
    hold_whole,
    ingest,
    limpets,
    picture,
    rows,
)
from writing.faults import read_faults

FIRST, SIDECAR = f"{LIMPETS}/IMG_0001.JPG", f"{LIMPETS}/IMG_0001.xmp"
HOUR_NS = 3600 * 10**9
card = tides.whole_card


@pytest.fixture
def shoot(card: Path, tmp_path: Path) -> Path:
    """The shoot of that card."""
    ingest(card, tmp_path / "shoot")
    return tmp_path / "shoot"


def new(report: Report) -> list[str]:
    return [entry.row.source for entry in report.new]


def entries(shoot: Path) -> dict[str, list[Entry]]:
    found: dict[str, list[Entry]] = {}
    with Ledger(shoot / ".sorter", hold=False) as ledger:
        for entry in ledger.entries():
            found.setdefault(entry.row.source, []).append(entry)
    return found


# ---- times decide nothing ----------------------------------------------------------------------


@pytest.mark.parametrize("shift_ns", [HOUR_NS, -HOUR_NS, 2 * 10**9, 10**9, 1])
def test_equal_bytes_are_there_whatever_the_clock_says(
    card: Path, shoot: Path, shift_ns: int
) -> None:
    for path in card.rglob("*.*"):
        if path.is_file() and not path.is_symlink():
            stamp = path.stat().st_mtime_ns + shift_ns
            os.utime(path, ns=(stamp, stamp))
    report = ingest(card, shoot)
    assert (new(report), report.failed, report.changed) == ([], (), ())
    assert report.verified == len(contents(card))
    hold_whole(shoot, contents(card))


def test_other_bytes_of_equal_time_and_size_are_not_there(card: Path, shoot: Path) -> None:
    path, before = card / LIMPETS / "IMG_0002.xmp", contents(card)
    stamp = path.stat().st_mtime_ns
    path.write_bytes(path.read_bytes().swapcase())
    os.utime(path, ns=(stamp, stamp))
    assert new(ingest(card, shoot)) == [f"{LIMPETS}/IMG_0002.xmp"]
    kept = list(contents(shoot).values())
    assert kept.count(before[f"{LIMPETS}/IMG_0002.xmp"]) == kept.count(path.read_bytes()) == 1


def test_a_file_of_another_size_is_not_read_to_be_compared(
    card: Path, shoot: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (card / "tides.txt").write_text("low tide at 13:40, high tide at 19:52")
    read: list[str] = []
    stream = Card.stream

    def recorded(self: Card, path: str, *, past: bool = False) -> Stream:
        read.append(path)
        return stream(self, path, past=past)

    monkeypatch.setattr(Card, "stream", recorded)
    assert new(ingest(card, shoot)) == ["tides.txt"]
    assert read.count("tides.txt") == 1  # to be carried
    assert read.count(FIRST) == 1  # to be compared


# ---- cards -------------------------------------------------------------------------------------


def test_equal_paths_on_another_card_with_other_bytes_are_other_files(
    card: Path, shoot: Path, tmp_path: Path
) -> None:
    before = contents(shoot)
    second = tmp_path / "second"
    picture(second / FIRST, 4000, shade=201)
    (second / SIDECAR).write_text("<x:xmpmeta>limpet 9</x:xmpmeta>")  # as long as the first's
    assert (second / SIDECAR).stat().st_size == (card / SIDECAR).stat().st_size
    report = ingest(second, shoot)
    assert sorted(new(report)) == [FIRST, SIDECAR]
    after = contents(shoot)
    assert all(after[path] == data for path, data in before.items() if "/" in path)
    (one, two) = entries(shoot)[FIRST]
    assert (shoot / two.row.destination).read_bytes() == (second / FIRST).read_bytes()
    assert one.row.destination != two.row.destination


def test_the_twin_in_the_other_slot_is_there_already(
    card: Path, shoot: Path, tmp_path: Path
) -> None:
    twin = tmp_path / "slot2" / "DCIM" / "200TIDES"
    twin.mkdir(parents=True)
    for number in (1, 2, 3, 4):
        shutil.copyfile(card / LIMPETS / f"IMG_000{number}.JPG", twin / f"IMG_000{number}.JPG")
    before = contents(shoot)
    report = ingest(tmp_path / "slot2", shoot)
    assert (new(report), report.verified) == ([], 4)
    assert contents(shoot) == before


@pytest.mark.parametrize("twin", ["IMG_0007.JPG", "img_0001.jpg"])
def test_a_twin_has_the_same_name_in_any_case(
    card: Path, shoot: Path, tmp_path: Path, twin: str
) -> None:
    (tmp_path / "slot2").mkdir()
    shutil.copyfile(card / FIRST, tmp_path / "slot2" / twin)
    there = twin.lower() == "img_0001.jpg"
    assert new(ingest(tmp_path / "slot2", shoot)) == ([] if there else [twin])


def test_equal_bytes_without_a_capture_time_in_another_place_are_another_file(
    card: Path, shoot: Path
) -> None:
    (card / "later").mkdir()
    shutil.copyfile(card / "tides.txt", card / "later" / "tides.txt")
    assert new(ingest(card, shoot)) == ["later/tides.txt"]
    hold_whole(shoot, contents(card))


def test_sidecars_of_equal_bytes_beside_different_frames_are_different_files(
    card: Path, shoot: Path
) -> None:
    picture(card / ANEMONES / "IMG_0009.JPG", 1500)
    shutil.copyfile(card / SIDECAR, card / ANEMONES / "IMG_0001.xmp")
    shutil.copyfile(card / SIDECAR, card / ANEMONES / "IMG_0009.xmp")
    report = ingest(card, shoot)
    assert sorted(new(report)) == [
        f"{ANEMONES}/IMG_0001.xmp",
        f"{ANEMONES}/IMG_0009.JPG",
        f"{ANEMONES}/IMG_0009.xmp",
    ]
    hold_whole(shoot, contents(card))
    places = destinations(shoot)
    assert places[f"{ANEMONES}/IMG_0001.xmp"] == "singles/IMG_0001.xmp"


def test_a_link_and_an_unreadable_file_are_noted_once(
    card: Path, shoot: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (card / "late.txt").write_text("high tide at 19:52")
    for _ in range(3):
        with monkeypatch.context() as patch:
            read_faults(patch, card / "late.txt", times=99)
            ingest(card, shoot)
    known = entries(shoot)
    assert [entry.state for entry in known["latest.JPG"]] == [State.LEFT]
    assert [entry.state for entry in known["late.txt"]] == [State.FAILED]
    ingest(card, shoot)
    assert [entry.state for entry in entries(shoot)["late.txt"]] == [State.PLACED]


def test_a_card_that_goes_away_while_it_is_compared_stops(
    card: Path, shoot: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    before = contents(shoot)
    read_faults(monkeypatch, card / "tides.txt", times=99)
    monkeypatch.setattr("sorter.disk.card.Card._is_mounted", lambda _: False)
    with pytest.raises(CardGone):
        ingest(card, shoot)
    assert contents(shoot) == before


# ---- grown cards -------------------------------------------------------------------------------


def test_of_a_card_that_grew_only_what_is_new_is_carried(card: Path, shoot: Path) -> None:
    before = {path: data for path, data in contents(shoot).items() if "/" in path}
    picture(card / ANEMONES / "IMG_0005.JPG", 1200)
    picture(card / ANEMONES / "IMG_0006.JPG", 1700)
    report = ingest(card, shoot)
    assert new(report) == [f"{ANEMONES}/IMG_0005.JPG", f"{ANEMONES}/IMG_0006.JPG"]
    hold_whole(shoot, contents(card))
    assert before.items() <= contents(shoot).items()


def test_a_sequence_that_grew_keeps_its_folder_and_every_row_knows(card: Path, shoot: Path) -> None:
    picture(card / LIMPETS / "IMG_0005.JPG", 1.25, shade=100)
    ingest(card, shoot)
    hold_whole(shoot, contents(card))
    burst = [row for row in rows(shoot) if row.sequence == 1]
    assert {row.frames for row in burst} == {5}
    assert {row.destination.partition("/")[0] for row in burst} == {"0001_burst_4"}


def test_a_sidecar_that_came_later_goes_to_its_frame(card: Path, shoot: Path) -> None:
    (card / ANEMONES / "IMG_0002.JPG.xmp").write_text("<x:xmpmeta/>")
    assert new(ingest(card, shoot)) == [f"{ANEMONES}/IMG_0002.JPG.xmp"]
    assert destinations(shoot)[f"{ANEMONES}/IMG_0002.JPG.xmp"] == "singles/IMG_0002.JPG.xmp"


def test_more_files_than_a_batch_are_compared_as_well(tmp_path: Path) -> None:
    card = limpets(tmp_path / "many", BATCH_FILES)
    ingest(card, tmp_path / "shoot")
    report = ingest(card, tmp_path / "shoot")
    assert (new(report), report.verified) == ([], 2 * BATCH_FILES)
    assert by_source(tmp_path / "shoot") == contents(card)
