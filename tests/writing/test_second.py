"""A second verified copy in the same pass: the card is read once, and either folder may fail alone."""

from __future__ import annotations

import errno
import os
import re
from pathlib import Path

import pytest

import tides
from sorter.disk import shoot as disk_shoot
from sorter.disk.card import Card
from sorter.disk.shoot import Shoot
from sorter.disk.streams import Stream
from sorter.errors import BadBackup, BadShoot, NoRoom, ShootBusy, ShootNotWritable
from sorter.model.plan import ContentCheck, State
from sorter.pipeline import Ingest, IngestOptions
from sorter.writing import records
from sorter.writing.ledger import Ledger
from writing.cards import (
    LIMPETS,
    QUIET,
    by_source,
    contents,
    destinations,
    found,
    hold_consistent,
    hold_whole,
    ingest,
    limpets,
    picture,
    undo,
)  # fmt: skip
from writing.faults import fails_in

card = tides.linkless_card
shoot = tides.new_shoot


@pytest.fixture
def other(tmp_path: Path) -> Path:
    """Where the second copy goes."""
    return tmp_path / "other"


def hold_both(shoot: Path, other: Path, originals: dict[str, bytes]) -> None:
    for folder in (shoot, other):
        hold_whole(folder, originals)
    assert contents(shoot) == contents(other)


def streamed(patch: pytest.MonkeyPatch) -> list[str]:
    """The paths of the card's files that are read as a whole, as they are from now on."""
    read: list[str] = []
    stream = Card.stream

    def noted(self: Card, path: str, *, past: bool = False) -> Stream:
        read.append(path)
        return stream(self, path, past=past)

    patch.setattr(Card, "stream", noted)
    return read


# ---- both go well -------------------------------------------------------------------------------


def test_both_hold_every_file_once_and_equal_and_the_card_is_as_it_was(
    card: Path, shoot: Path, other: Path
) -> None:
    originals = contents(card)
    report = ingest(card, shoot, backup=other)
    hold_both(shoot, other, originals)
    assert contents(card) == originals
    assert report.backup is not None
    assert report.backup.verified == report.verified == len(originals)
    assert not report.failures


def test_the_card_is_read_once(
    card: Path, shoot: Path, other: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    read = streamed(monkeypatch)
    ingest(card, shoot, backup=other)
    assert sorted(read) == sorted(contents(card))


def test_the_second_copy_is_a_shoot_of_its_own(card: Path, shoot: Path, other: Path) -> None:
    originals = contents(card)
    ingest(card, shoot, backup=other)
    assert found(other).good == len(originals)
    assert not found(other).has_remarks
    undo(other)
    assert not other.exists()
    hold_whole(shoot, originals)


def test_modification_times_are_kept_in_both(card: Path, shoot: Path, other: Path) -> None:
    ingest(card, shoot, backup=other)
    for source, path in destinations(shoot).items():
        stamp = (card / source).stat().st_mtime_ns
        assert (shoot / path).stat().st_mtime_ns == (other / path).stat().st_mtime_ns == stamp


@pytest.mark.parametrize("near", [True, False])
def test_a_move_leaves_the_card_when_both_have_the_frame(
    card: Path, shoot: Path, other: Path, monkeypatch: pytest.MonkeyPatch, *, near: bool
) -> None:
    if not near:
        monkeypatch.setattr(Card, "device", lambda *_: -1)
    originals = contents(card)
    ingest(card, shoot, backup=other, moves=True)
    hold_both(shoot, other, originals)
    assert contents(card) == {}
    undo(shoot)
    assert contents(card) == originals
    hold_whole(other, originals)


# ---- brought up to date -------------------------------------------------------------------------


def test_a_copy_that_was_not_asked_for_at_first_is_made_from_the_shoot(
    card: Path, shoot: Path, other: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    originals = contents(card)
    ingest(card, shoot, moves=True)
    picture(card / LIMPETS / "IMG_0009.JPG", 1.25)
    originals |= contents(card)
    read = streamed(monkeypatch)
    with Ingest(card, shoot, IngestOptions(backup=other)) as work:
        plan = work.inspect(QUIET, hold=True)
        assert len(plan.filling) == len(originals) - 1
        work.carry(plan, QUIET)
    hold_both(shoot, other, originals)
    assert read == [f"{LIMPETS}/IMG_0009.JPG"]


def test_what_goes_missing_in_the_second_copy_comes_back(
    card: Path, shoot: Path, other: Path
) -> None:
    originals = contents(card)
    ingest(card, shoot, backup=other)
    (other / destinations(other)[f"{LIMPETS}/IMG_0002.JPG"]).unlink()
    report = ingest(card, shoot, backup=other)
    hold_both(shoot, other, originals)
    assert report.new == ()
    assert report.backup is not None
    assert len(report.backup.new) == 1


def test_what_was_changed_in_the_second_copy_stays_and_a_good_one_lies_beside(
    card: Path, shoot: Path, other: Path
) -> None:
    originals = contents(card)
    ingest(card, shoot, backup=other)
    source = f"{LIMPETS}/IMG_0002.JPG"
    changed = other / destinations(other)[source]
    changed.write_bytes(b"barnacles")
    ingest(card, shoot, backup=other)
    assert changed.read_bytes() == b"barnacles"
    assert by_source(other) == originals
    assert destinations(other)[source] != destinations(shoot)[source]


def test_a_sidecar_that_was_edited_in_the_second_copy_stays(
    card: Path, shoot: Path, other: Path
) -> None:
    ingest(card, shoot, backup=other)
    edited = other / destinations(other)[f"{LIMPETS}/IMG_0002.xmp"]
    edited.write_text("keep this limpet")
    report = ingest(card, shoot, backup=other)
    assert edited.read_text() == "keep this limpet"
    assert report.backup is not None
    assert [entry.row.source for entry in report.backup.edited] == [f"{LIMPETS}/IMG_0002.xmp"]
    assert not report.is_whole


def test_two_cards_and_a_card_that_grew(
    card: Path, shoot: Path, other: Path, tmp_path: Path
) -> None:
    originals = contents(card)
    ingest(card, shoot, backup=other)
    second = limpets(tmp_path / "second", 2, side=32)
    ingest(second, shoot)
    (second / LIMPETS / "IMG_0003.xmp").write_text("a third limpet")
    ingest(second, shoot, backup=other)
    assert contents(shoot) == contents(other)
    assert len(by_source(other)) == len(by_source(shoot))
    assert len(destinations(shoot)) == len(originals.keys() | contents(second).keys())
    for folder in (shoot, other):
        hold_consistent(folder)
    undo(other)
    undo(other)
    hold_whole(other, originals)


# ---- one of the two fails -----------------------------------------------------------------------


@pytest.mark.parametrize("after", [0, 1, 3, 7, 11])
@pytest.mark.parametrize("number", [errno.ENOSPC, errno.EIO])
@pytest.mark.parametrize("which", ["shoot", "second copy"])
def test_either_may_fail_without_the_other(  # noqa: PLR0917
    card: Path, shoot: Path, other: Path, monkeypatch: pytest.MonkeyPatch,
    which: str, after: int, number: int,
) -> None:  # fmt: skip
    originals = contents(card)
    bad, good = (shoot, other) if which == "shoot" else (other, shoot)
    with monkeypatch.context() as patch:
        fails_in(patch, bad, after=after, number=number)
        report = ingest(card, shoot, backup=other)
    hold_whole(good, originals)
    assert [type(each) for each in report.failures] == [
        NoRoom if number == errno.ENOSPC else ShootNotWritable
    ]
    assert str(bad) in str(report.failures[0])
    assert not report.is_whole
    hold_consistent(bad)
    ingest(card, shoot, backup=other)
    hold_both(shoot, other, originals)
    assert contents(card) == originals


def test_where_both_fail_the_run_stops_and_goes_on(
    card: Path, shoot: Path, other: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    originals = contents(card)
    with monkeypatch.context() as patch:
        fails_in(patch, shoot, after=2, number=errno.ENOSPC)
        fails_in(patch, other, after=5, number=errno.EIO)
        with pytest.raises(NoRoom, match=re.escape(str(shoot))):
            ingest(card, shoot, backup=other)
    ingest(card, shoot, backup=other)
    hold_both(shoot, other, originals)


def test_a_move_keeps_the_card_until_the_second_copy_is_whole_too(
    card: Path, shoot: Path, other: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    originals = contents(card)
    with monkeypatch.context() as patch:
        fails_in(patch, other, after=3, number=errno.ENOSPC)
        ingest(card, shoot, backup=other, moves=True)
    assert contents(card) == originals
    hold_whole(shoot, originals)
    ingest(card, shoot, backup=other, moves=True)
    hold_both(shoot, other, originals)
    assert contents(card) == {}


def test_a_ledger_that_cannot_be_written_is_the_failure_of_its_own_folder(
    card: Path, shoot: Path, other: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    originals = contents(card)
    note = Ledger.note

    def fail(self: Ledger, entries: object) -> None:
        if self._hidden.parent == other:
            raise NoRoom("the second copy's disk is full")
        note(self, entries)  # type: ignore[arg-type]

    with monkeypatch.context() as patch:
        patch.setattr(Ledger, "note", fail)
        report = ingest(card, shoot, backup=other)
    assert [str(each) for each in report.failures] == ["the second copy's disk is full"]
    hold_whole(shoot, originals)
    ingest(card, shoot, backup=other)
    hold_both(shoot, other, originals)


@pytest.mark.parametrize("which", ["shoot", "second copy"])
def test_a_folder_that_has_no_room_from_the_start_gets_nothing_and_the_other_all(
    card: Path, shoot: Path, other: Path, monkeypatch: pytest.MonkeyPatch, which: str
) -> None:
    originals, room = contents(card), Shoot.free_space
    bad, good = (shoot, other) if which == "shoot" else (other, shoot)
    with monkeypatch.context() as patch:
        patch.setattr(Shoot, "free_space", lambda self: 9 if self.root == bad else room(self))
        report = ingest(card, shoot, backup=other)
    hold_whole(good, originals)
    assert "Nothing was done there" in str(report.failures[0])
    assert not any(path for path in contents(bad) if not path.endswith((".csv", "SUMS")))
    ingest(card, shoot, backup=other)
    hold_both(shoot, other, originals)


def test_a_second_copy_that_came_out_wrong_twice_is_never_placed(
    card: Path, shoot: Path, other: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    originals = contents(card)
    source = f"{LIMPETS}/IMG_0003.JPG"
    holds = Shoot.holds

    def lie(
        self: Shoot, path: str, count: int, sha256: str, progress: object = None
    ) -> ContentCheck:
        spoiled = self.root == other and ".sorter" in path and count == len(originals[source])
        return ContentCheck.NO if spoiled else holds(self, path, count, sha256, progress)  # type: ignore[arg-type]

    with monkeypatch.context() as patch:
        patch.setattr(Shoot, "holds", lie)
        report = ingest(card, shoot, backup=other)
    hold_whole(shoot, originals)
    assert report.has_differing
    assert source not in by_source(other)
    hold_consistent(other)
    ingest(card, shoot, backup=other)
    hold_both(shoot, other, originals)


def test_a_read_only_place_for_the_second_copy_fails_alone(
    card: Path, shoot: Path, other: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    originals = contents(card)
    prepare = disk_shoot.Shoot.prepare

    def refuse(self: Shoot) -> None:
        if self.root == other:
            raise OSError(errno.EROFS, os.strerror(errno.EROFS))
        prepare(self)

    monkeypatch.setattr(disk_shoot.Shoot, "prepare", refuse)
    report = ingest(card, shoot, backup=other)
    hold_whole(shoot, originals)
    assert "Read-only file system" in str(report.failures[0])


def test_a_file_that_the_card_does_not_give_is_in_neither_and_tried_again(
    card: Path, shoot: Path, other: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    originals = contents(card)
    stream = Card.stream

    def fail(self: Card, path: str, *, past: bool = False) -> Stream:
        if path.endswith("IMG_0002.JPG"):
            raise OSError(errno.EIO, os.strerror(errno.EIO))
        return stream(self, path, past=past)

    with monkeypatch.context() as patch:
        patch.setattr(Card, "stream", fail)
        report = ingest(card, shoot, backup=other)
    assert report.backup is not None
    assert len(report.failed) == len(report.backup.failed) == 2
    assert by_source(shoot) == by_source(other)
    ingest(card, shoot, backup=other)
    hold_both(shoot, other, originals)


# ---- what cannot be one -------------------------------------------------------------------------


def test_folders_that_lie_in_one_another_are_refused(
    card: Path, shoot: Path, tmp_path: Path
) -> None:
    ingest(card, shoot)
    for folder in (shoot, shoot / "other", tmp_path):
        with pytest.raises((BadBackup, BadShoot)):
            ingest(card, shoot, backup=folder)
    with pytest.raises(BadShoot, match="lies in the card"):
        ingest(card, shoot, backup=card / "other")


def test_the_shoot_of_another_card_is_no_second_copy(
    card: Path, shoot: Path, other: Path, tmp_path: Path
) -> None:
    ingest(card, shoot)
    ingest(limpets(tmp_path / "second", 2, side=32), other)
    before = contents(other)
    with pytest.raises(BadBackup, match=r"holds what the shoot does not know .*sorter undo"):
        ingest(card, shoot, backup=other)
    assert contents(other) == before


def test_an_ingest_that_was_taken_back_in_the_shoot_alone_is_named(
    card: Path, shoot: Path, other: Path
) -> None:
    originals = contents(card)
    ingest(card, shoot, backup=other)
    undo(shoot)
    with pytest.raises(BadBackup, match="sorter undo"):
        ingest(card, shoot, backup=other)
    undo(other)
    ingest(card, shoot, backup=other)
    hold_both(shoot, other, originals)


def test_a_second_copy_at_which_another_run_is_at_work_is_left_alone(
    card: Path, shoot: Path, other: Path
) -> None:
    ingest(card, shoot, backup=other)
    with Ledger(other / ".sorter", hold=True), pytest.raises(ShootBusy):
        ingest(card, shoot, backup=other)


# ---- both ledgers -------------------------------------------------------------------------------


def test_both_ledgers_know_each_file_by_one_number(card: Path, shoot: Path, other: Path) -> None:
    ingest(card, shoot, backup=other, moves=True)
    one, two = records.entries_of(shoot), records.entries_of(other)
    assert [entry.number for entry in one] == [entry.number for entry in two]
    assert [entry.row for entry in one] == [entry.row for entry in two]
    assert {entry.state for entry in two} == {State.PLACED}
    assert not any(entry.moves or entry.gone for entry in two)
