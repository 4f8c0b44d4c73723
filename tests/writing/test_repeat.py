"""An ingest run once more: it adds what is missing, keeps what was edited, and says what it did."""

from __future__ import annotations

from pathlib import Path

import tides
from writing.cards import (
    LIMPETS,
    contents,
    destinations,
    found,
    hold_whole,
    ingest,
    rows,
    tree,
)

FIRST, SIDECAR = f"{LIMPETS}/IMG_0001.JPG", f"{LIMPETS}/IMG_0001.xmp"
BURST = "0001_burst_4"
card = tides.whole_card
shoot = tides.shoot_of_card


def test_a_second_run_carries_nothing_and_touches_nothing(card: Path, shoot: Path) -> None:
    kept = {path: about for path, about in tree(shoot).items() if ".sorter" not in path}
    report = ingest(card, shoot)
    assert report.new == ()
    assert report.verified == len(contents(card))
    after = tree(shoot)
    assert {path: after[path] for path in kept if path != str(shoot)} == {
        path: about for path, about in kept.items() if path != str(shoot)
    }


def test_what_is_missing_is_carried_to_the_place_that_it_had(card: Path, shoot: Path) -> None:
    before = contents(shoot)
    for path in (f"{BURST}/IMG_0002.JPG", "singles/IMG_0001.JPG", "clips/MVI_0003.MP4"):
        (shoot / path).unlink()
    (shoot / "clips").rmdir()
    report = ingest(card, shoot, folder="other {sequence}")
    assert len(report.new) == 3
    assert contents(shoot) == before
    hold_whole(shoot, contents(card))


def test_what_is_missing_and_whose_place_was_taken_gets_another_name(
    card: Path, shoot: Path
) -> None:
    (shoot / "singles" / "IMG_0001.JPG").unlink()
    (shoot / "singles" / "IMG_0001.JPG").mkdir()
    report = ingest(card, shoot)
    (entry,) = report.new or report.changed
    assert entry.row.source == "DCIM/101TIDES/IMG_0001.JPG"
    place = destinations(shoot)[entry.row.source]
    assert (shoot / place).read_bytes() == (card / entry.row.source).read_bytes()
    assert (shoot / "singles" / "IMG_0001.JPG").is_dir()


def test_a_list_that_was_edited_or_deleted_is_written_anew(card: Path, shoot: Path) -> None:
    before = contents(shoot)
    (shoot / "manifest.csv").write_text("source\nlimpet")
    (shoot / "SHA256SUMS").unlink()
    ingest(card, shoot)
    assert contents(shoot) == before


def test_a_sidecar_that_was_edited_stays(card: Path, shoot: Path) -> None:
    (shoot / BURST / "IMG_0001.xmp").write_text("<x:xmpmeta>five stars</x:xmpmeta>")
    report = ingest(card, shoot)
    assert report.new == ()
    assert [entry.row.source for entry in report.edited] == [SIDECAR]
    assert not report.is_whole
    assert report.verified == len(contents(card)) - 1
    assert (shoot / BURST / "IMG_0001.xmp").read_text() == "<x:xmpmeta>five stars</x:xmpmeta>"


def test_a_picture_that_was_changed_stays_and_is_carried_beside(card: Path, shoot: Path) -> None:
    changed = shoot / BURST / "IMG_0001.JPG"
    changed.write_bytes(b"cropped" + changed.read_bytes()[7:])
    mine = changed.read_bytes()
    report = ingest(card, shoot)
    assert [entry.row.source for entry in report.new] == [FIRST]
    assert [entry.row.source for entry in report.changed] == [FIRST]
    assert changed.read_bytes() == mine
    place = destinations(shoot)[FIRST]
    assert place == f"{BURST}/IMG_0001_2.JPG"
    assert (shoot / place).read_bytes() == (card / FIRST).read_bytes()
    notes = next(row.notes for row in rows(shoot) if row.source == FIRST)
    assert f"{BURST}/IMG_0001.JPG was changed since it was carried" in notes
    assert found(shoot).added == [f"{BURST}/IMG_0001.JPG"]
    again = ingest(card, shoot)
    assert (again.new, again.changed) == ((), ())


def test_a_second_run_asked_to_move_takes_nothing_that_was_copied(card: Path, shoot: Path) -> None:
    before = tree(card)
    assert ingest(card, shoot, moves=True).new == ()
    assert tree(card) == before


def test_other_peoples_files_in_the_shoot_stay(card: Path, tmp_path: Path) -> None:
    mine = tmp_path / "shoot" / "singles" / "IMG_0001.JPG"
    mine.parent.mkdir(parents=True)
    mine.write_bytes(b"a crab")
    (tmp_path / "shoot" / BURST).mkdir()
    ingest(card, tmp_path / "shoot")
    assert mine.read_bytes() == b"a crab"
    places = destinations(tmp_path / "shoot")
    assert places["DCIM/101TIDES/IMG_0001.JPG"] == "singles/IMG_0001_2.JPG"
    assert places[FIRST] == f"{BURST}_2/IMG_0001.JPG"
