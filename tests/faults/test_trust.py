"""What leaves the card, and what the last lines say: only what this run has seen, on each disk.

Field cases: copies spoiled between a stop and the run that goes on, a second copy that cannot begin, a
card that changes meanwhile, copies on the card's own disk or in memory.
"""

from __future__ import annotations

import errno
import os
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Self

import pytest

from faults.dying import died
from faults.scenarios import BATCH
from sorter.cli import endings
from sorter.disk.card import Card
from sorter.disk.shoot import Shoot
from sorter.disk.systems import linux
from sorter.disk.systems.system import Opened
from sorter.model.advice import DiskLayout, Level, advise
from sorter.model.disks import Apart, Disk, Lies
from sorter.model.plan import WhyNotRemoved
from sorter.pipeline import Report
from sorter.writing import carry, moving
from writing.cards import by_source, contents, ingest, limpets, picture, stamped, tide_card
from writing.faults import other_devices, other_disks

FRAMES = 6


@pytest.fixture
def card(base: Path) -> Path:
    return limpets(base / "card", FRAMES)


@pytest.fixture
def shoot(base: Path) -> Path:
    return base / "shoot"


@pytest.fixture
def far(monkeypatch: pytest.MonkeyPatch) -> None:
    """Card and shoot lie on two disks."""
    other_devices(monkeypatch)
    other_disks(monkeypatch)


@pytest.fixture(autouse=True)
def small_batches(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(carry, "BATCH_FILES", BATCH)


def said(report: Report, shoot: Path) -> str:
    return "\n".join(line.text for line in endings.ingested(report, shoot))


def there(*folders: Path) -> set[bytes]:
    return {data for folder in folders for data in contents(folder).values()}


# ---- spoiled between a stop and the run that goes on --------------------------------------------


def delete(path: Path) -> None:
    path.unlink()


def zero(path: Path) -> None:
    path.write_bytes(bytes(path.stat().st_size))


def cut(path: Path) -> None:
    os.truncate(path, path.stat().st_size // 2)


SPOILING = [delete, zero, cut]
POINTS = [60, 75, 90, 105, 115]
"""Calls after which the run is killed: some files are noted as placed then, and some are not."""


def stopped(base: Path, work: Callable[[], object], point: int) -> None:
    """Threads may have come a point further by then."""
    assert died(work, point, base / "scratch").verb != "the end"


@pytest.mark.parametrize("point", POINTS)
@pytest.mark.parametrize("spoil", SPOILING)
@pytest.mark.usefixtures("far")
def test_no_original_leaves_for_a_copy_that_was_spoiled_since(
    base: Path, card: Path, shoot: Path, spoil: Callable[[Path], None], point: int
) -> None:
    originals = contents(card)
    stopped(base, lambda: ingest(card, shoot, moves=True), point)
    here = {Path(path).name for path in contents(card)}
    placed = [path for path in contents(shoot) if Path(path).name in here and "JPG" in path]
    for path in placed[:2]:
        spoil(shoot / path)
    report = ingest(card, shoot, moves=True)
    assert set(originals.values()) <= there(card, shoot)
    assert by_source(shoot) == originals
    assert contents(card) == {}
    assert report.verified == len(originals)


@pytest.mark.parametrize("point", [100, 180])
@pytest.mark.parametrize("spoil", SPOILING)
def test_what_was_spoiled_in_both_copies_is_carried_again_into_both(
    base: Path, card: Path, shoot: Path, spoil: Callable[[Path], None], point: int
) -> None:
    originals, other = contents(card), base / "other"
    stopped(base, lambda: ingest(card, shoot, backup=other), point)
    for folder in (shoot, other):
        for path in [path for path in contents(folder) if path.endswith(".JPG")][:2]:
            spoil(folder / path)
    report = ingest(card, shoot, backup=other)
    assert by_source(shoot) == by_source(other) == originals
    assert report.backup is not None
    assert report.verified == report.backup.verified == len(originals)


@pytest.mark.usefixtures("far")
def test_what_is_spoiled_and_on_the_card_no_more_is_named_and_not_verified(
    base: Path, card: Path, shoot: Path
) -> None:
    originals = contents(card)
    last = died(lambda: ingest(card, shoot, moves=True), 0, base / "scratch").point
    for folder in (card, shoot):
        for path in contents(folder):
            (folder / path).unlink()
    limpets(card, FRAMES)
    originals = contents(card)
    (shoot / ".sorter" / "ledger.db").unlink()
    stopped(base, lambda: ingest(card, shoot, moves=True), last - 12)
    gone = [path for path in originals if not (card / path).exists()]
    lost = by_source_in_ledger(shoot, gone)
    assert lost
    zero(shoot / lost[0])
    report = ingest(card, shoot, moves=True)
    assert [entry.row.destination for entry in report.lost] == [lost[0]]
    assert report.has_differing
    assert report.verified == len(originals) - 1
    assert lost[0] in said(report, shoot)
    assert last_line(report, shoot).startswith("Do not format the card")


def by_source_in_ledger(shoot: Path, sources: list[str]) -> list[str]:
    from sorter.writing.records import entries_of  # noqa: PLC0415

    return [
        entry.row.destination
        for entry in entries_of(shoot)
        if entry.row.source in sources and entry.row.source.endswith(".JPG")
    ]


def last_line(report: Report, shoot: Path) -> str:
    return said(report, shoot).splitlines()[-1]


# ---- a second copy that cannot begin -----------------------------------------------------------


def no_room(patch: pytest.MonkeyPatch, other: Path) -> None:
    room = Shoot.free_space
    patch.setattr(Shoot, "free_space", lambda self: 9 if self.root == other else room(self))


def read_only(patch: pytest.MonkeyPatch, other: Path) -> None:
    prepare = Shoot.prepare

    def refuse(self: Shoot) -> None:
        if self.root == other:
            raise OSError(errno.EROFS, os.strerror(errno.EROFS))
        prepare(self)

    patch.setattr(Shoot, "prepare", refuse)


@pytest.fixture(params=["near", "far"])
def distance(request: pytest.FixtureRequest) -> str:
    """Whether card and shoot lie on one disk or two."""
    if request.param == "far":
        request.getfixturevalue("far")
    return str(request.param)


@pytest.mark.parametrize("fault", [no_room, read_only])
@pytest.mark.usefixtures("distance")
def test_nothing_leaves_the_card_where_the_second_copy_cannot_begin(
    card: Path,
    shoot: Path,
    monkeypatch: pytest.MonkeyPatch,
    fault: Callable[[pytest.MonkeyPatch, Path], None],
) -> None:
    originals, other = contents(card), shoot.with_name("other")
    with monkeypatch.context() as patch:
        fault(patch, other)
        report = ingest(card, shoot, moves=True, backup=other)
    assert contents(card) == originals
    assert {why for _, why in report.kept} == {WhyNotRemoved.BACKUP}
    assert len(report.kept) == len(originals)
    assert f"{len(originals)} files that were to be moved are still on the card" in said(
        report, shoot
    )
    report = ingest(card, shoot, moves=True, backup=other)
    assert contents(card) == {}
    assert by_source(shoot) == by_source(other) == originals


@pytest.mark.usefixtures("distance")
def test_a_move_begun_into_two_copies_empties_nothing_for_one(
    base: Path, card: Path, shoot: Path
) -> None:
    """The plan is kept as it was, whatever the options say when it goes on."""
    originals, other = contents(card), base / "other"
    stopped(base, lambda: ingest(card, shoot, moves=True, backup=other), 120)
    report = ingest(card, shoot, moves=True)
    assert contents(card) == originals
    assert {why for _, why in report.kept} == {WhyNotRemoved.BACKUP}
    ingest(card, shoot, moves=True, backup=other)
    assert contents(card) == {}
    assert by_source(shoot) == by_source(other) == originals


# ---- edited on the card ------------------------------------------------------------------------


@pytest.mark.parametrize("point", [90, 110])
@pytest.mark.usefixtures("far")
def test_an_edit_behind_the_first_bytes_while_a_move_is_stopped_is_kept(
    base: Path, shoot: Path, point: int
) -> None:
    card = limpets(base / "card", FRAMES, side=96)
    originals = contents(card)
    stopped(base, lambda: ingest(card, shoot, moves=True), point)
    edited = {}
    for path in [path for path in contents(card) if path.endswith(".JPG")]:
        about, data = (card / path).stat(), bytearray((card / path).read_bytes())
        assert len(data) > 5000
        data[4500] ^= 1
        (card / path).write_bytes(data)
        os.utime(card / path, ns=(about.st_atime_ns, about.st_mtime_ns))
        edited[path] = bytes(data)
    report = ingest(card, shoot, moves=True)
    assert set(edited.values()) <= there(card, shoot)
    assert {why for _, why in report.kept} <= {WhyNotRemoved.CHANGED}
    if report.kept:
        assert last_line(report, shoot).startswith("Do not format the card")
    ingest(card, shoot, moves=True)
    assert {*edited.values()} <= there(shoot)
    assert contents(card) == {}
    kept_as_carried = {data for path, data in originals.items() if path not in edited}
    assert kept_as_carried <= there(shoot)


# ---- perhaps from memory -----------------------------------------------------------------------


def perhaps(patch: pytest.MonkeyPatch, root: Path) -> None:
    """What is read below the folder may come from the system's memory."""
    open_past = linux.open_past

    def unsure(path: str, *, direct: bool = True) -> Opened:
        opened = open_past(path, direct=direct)
        return replace(opened, sure=False) if Path(path).is_relative_to(root) else opened

    patch.setattr(linux, "open_past", unsure)


@pytest.mark.parametrize("which", ["card", "shoot", "other"])
def test_nothing_leaves_the_card_where_a_side_may_have_come_from_memory(
    card: Path, shoot: Path, monkeypatch: pytest.MonkeyPatch, distance: str, which: str
) -> None:
    originals, other = contents(card), shoot.with_name("other")
    backup = other if which == "other" else None
    near_and_never_read = (which, distance) == ("shoot", "near")  # the card's file is the copy
    with monkeypatch.context() as patch:
        perhaps(patch, {"card": card, "shoot": shoot, "other": other}[which])
        report = ingest(card, shoot, moves=True, backup=backup)
    if near_and_never_read:
        assert contents(card) == {}
        return
    assert contents(card) == originals
    assert {why for _, why in report.kept} == {WhyNotRemoved.MEMORY}
    if which != "card":
        assert "perhaps from memory" in said(report, shoot)
        assert "may be formatted" not in said(report, shoot)


def test_a_repeated_ingest_reads_the_card_past_the_cache_and_says_where_it_could_not(
    card: Path, shoot: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    ingest(card, shoot)
    assert "equal to the card's byte by byte, read past the cache" in said(
        ingest(card, shoot), shoot
    )
    perhaps(monkeypatch, card)
    assert "the card's, which was read perhaps from memory" in said(ingest(card, shoot), shoot)


def test_what_was_read_once_is_called_so_and_twice_is_compared(card: Path, base: Path) -> None:
    once, twice = base / "once", base / "twice"
    assert "as the card gave it, read once" in said(ingest(card, once), once)
    told = said(ingest(card, twice, rereads=True), twice)
    assert "equal to the card's byte by byte, read past the cache" in told


def test_a_reader_that_flips_a_bit_once_is_found_out_by_reading_twice(
    card: Path, shoot: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    originals, wrong = contents(card), f"{card}/DCIM/100TIDES/IMG_0002.JPG"
    stream, left = Card.stream, [1]

    def flips(self: Card, path: str, *, past: bool = False) -> object:
        opened = stream(self, path, past=past)
        if left[0] and self.at(path) == wrong:
            left[0] -= 1
            return _Flipping(opened)
        return opened

    monkeypatch.setattr(Card, "stream", flips)
    report = ingest(card, shoot, rereads=True)
    assert by_source(shoot) == originals
    assert report.verified == report.reread == len(originals)
    noted = [
        e
        for e in report.entries
        if any("other bytes" in str(one) for one in e.placement.carrying_notes)
    ]
    assert [e.row.source for e in noted] == ["DCIM/100TIDES/IMG_0002.JPG"]


def test_a_card_that_gives_other_bytes_each_time_is_named_and_not_carried(
    card: Path, shoot: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    wrong, stream, times = "DCIM/100TIDES/IMG_0002.JPG", Card.stream, [0]

    def flips(self: Card, path: str, *, past: bool = False) -> object:
        opened = stream(self, path, past=past)
        times[0] += path == wrong
        return _Flipping(opened) if path == wrong and times[0] % 2 else opened

    monkeypatch.setattr(Card, "stream", flips)
    report = ingest(card, shoot, rereads=True)
    assert [entry.row.source for entry in report.failed] == [wrong]
    assert wrong in said(report, shoot)
    assert wrong not in by_source(shoot)


class _Flipping:
    """A stream that gives one bit that is another."""

    def __init__(self, stream: object) -> None:
        self._stream = stream

    def __getattr__(self, name: str) -> object:
        return getattr(self._stream, name)

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *given: object) -> None:
        self._stream.__exit__(*given)  # type: ignore[attr-defined]

    def blocks(self) -> object:
        for block in self._stream.blocks():  # type: ignore[attr-defined]
            block[len(block) // 2] ^= 4
            yield block


# ---- a card that changes meanwhile ---------------------------------------------------------------


def came(card: Path) -> None:
    picture(card / "DCIM" / "101TIDES" / "IMG_0077.JPG", 500, shade=3)


def grew(card: Path) -> None:
    with (card / "DCIM" / "100TIDES" / "IMG_0001.xmp").open("a") as file:
        file.write("<!-- more of it -->")


def went(card: Path) -> None:
    (card / "DCIM" / "100TIDES" / "IMG_0001.xmp").unlink()


@pytest.mark.parametrize(
    ("change", "told"),
    [
        (came, ("IMG_0077.JPG", "new on the card")),
        (grew, ("IMG_0001.xmp", "changed on the card")),
        (went, ("IMG_0001.xmp", "gone from the card")),
    ],
)
def test_the_card_is_listed_again_and_what_changed_is_named(
    card: Path,
    shoot: Path,
    monkeypatch: pytest.MonkeyPatch,
    change: Callable[[Path], None],
    told: tuple[str, str],
) -> None:
    words, condition = told
    noted = Shoot.replace  # the lists, which are written when all is carried

    def late(self: Shoot, path: str, data: bytes) -> None:
        noted(self, path, data)
        if path == "SHA256SUMS":
            change(card)

    with monkeypatch.context() as patch:
        patch.setattr(Shoot, "replace", late)
        report = ingest(card, shoot)
    assert not report.is_whole
    assert words in said(report, shoot)
    assert condition in advise(report.evidence).names
    assert last_line(report, shoot).startswith("Do not format the card")
    if change is came:
        assert ingest(card, shoot).is_whole
        assert (card / "DCIM/101TIDES/IMG_0077.JPG").read_bytes() in there(shoot)


def test_a_card_that_cannot_be_listed_again_is_said_so(
    card: Path, shoot: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    away = card.with_name("away")
    noted = Shoot.replace

    def late(self: Shoot, path: str, data: bytes) -> None:
        noted(self, path, data)
        if path == "SHA256SUMS":
            card.rename(away)

    monkeypatch.setattr(Shoot, "replace", late)
    report = ingest(card, shoot)
    assert report.drift is None
    assert "not listed again" in advise(report.evidence).names


# ---- where the copies lie -------------------------------------------------------------------------


def disks(patch: pytest.MonkeyPatch, **known: Disk) -> None:
    """Each folder, by the last part of its path, lies there."""
    patch.setattr(linux, "disk", lambda path: known[Path(path).name])


def a_disk(name: str) -> Disk:
    return Disk(lies=Lies.DISK, device=hash(name), parts=frozenset({name}))


MEMORY = Disk(lies=Lies.MEMORY, device=3)
SHARE = Disk(lies=Lies.NETWORK, device=4, source="pool.example:/tide")


@pytest.mark.parametrize(
    ("both", "level"),
    [
        ((a_disk("sdb"), a_disk("sdc")), Level.NONE),
        ((a_disk("sdb"), a_disk("sdb")), Level.BEFORE),
        ((a_disk("sda"), a_disk("sdb")), Level.BEFORE),
        ((a_disk("sdb"), a_disk("sda")), Level.BEFORE),
        ((MEMORY, a_disk("sdb")), Level.BEFORE),
        ((a_disk("sdb"), MEMORY), Level.BEFORE),
        ((a_disk("sdb"), SHARE), Level.CAREFUL),
        ((SHARE, a_disk("sdb")), Level.CAREFUL),
    ],
)
def test_the_advice_follows_from_where_the_copies_lie(
    card: Path,
    shoot: Path,
    monkeypatch: pytest.MonkeyPatch,
    both: tuple[Disk, Disk],
    level: Level,
) -> None:
    disks(monkeypatch, card=a_disk("sda"), shoot=both[0], other=both[1])
    report = ingest(card, shoot, backup=shoot.with_name("other"))
    assert advise(report.evidence).level is level
    assert ("may be formatted" in said(report, shoot)) == (level is Level.NONE)


def test_real_folders_of_one_disk_are_told_as_one(tmp_path: Path) -> None:
    card = limpets(tmp_path / "card", 1)
    report = ingest(card, tmp_path / "shoot", backup=tmp_path / "other")
    assert report.places.card_shoot is Apart.ONE
    assert report.places.shoot_backup is Apart.ONE
    assert report.places != DiskLayout()


# ---- removals that failed -------------------------------------------------------------------------


@pytest.mark.usefixtures("far")
def test_a_move_whose_removals_failed_is_finished_by_the_next(
    base: Path, shoot: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    card = tide_card(base / "card")
    (card / "latest.JPG").unlink()
    stamped(card)

    def locked(_: str) -> None:
        raise OSError(errno.EIO, os.strerror(errno.EIO))

    originals = contents(card)
    with monkeypatch.context() as patch:
        patch.setattr(moving, "remove_from_card", locked)
        report = ingest(card, shoot, moves=True)
    assert {why for _, why in report.kept} == {WhyNotRemoved.LOCKED}
    assert contents(card) == originals
    assert ingest(card, shoot, moves=False).gone == ()
    assert contents(card) == originals
    ingest(card, shoot, moves=True)
    assert contents(card) == {}
    assert by_source(shoot) == originals
