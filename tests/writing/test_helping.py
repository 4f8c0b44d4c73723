"""Small files carried with the help of other processes: as without it, whatever becomes of the helpers."""

from __future__ import annotations

import os
import signal
import sys
from collections.abc import Iterator, Sequence
from pathlib import Path

import pytest

from sorter.disk.shoot import Shoot
from sorter.disk.streams import Measured
from sorter.model.damage import Damage
from sorter.model.note import Note
from sorter.pipeline import Report
from sorter.writing import carry, helping
from sorter.writing.helping import Done, Helpers, Task
from writing.cards import LIMPETS, by_source, contents, hold_whole, ingest, limpets, stamped
from writing.faults import fails_at

COUNT = carry.HELPED


@pytest.fixture
def card(tmp_path: Path) -> Path:
    """A batch of small files, among them a clip cut short, a picture full of zeros and an empty file."""
    card = limpets(tmp_path / "card", COUNT // 2 + 4)
    folder = card / LIMPETS
    clip = b"\0\0\0\x10ftypmp42\0\0\0\0" + (4000).to_bytes(4) + b"mdat" + b"splash" * 400
    (folder / "MVI_0900.MP4").write_bytes(clip)
    zeros = folder / "IMG_0005.JPG"
    zeros.write_bytes(zeros.read_bytes()[:-900] + bytes(900))
    (folder / "IMG_0007.xmp").write_bytes(b"")
    stamped(card)
    return card


@pytest.fixture
def shoot(tmp_path: Path) -> Path:
    return tmp_path / "shoot"


class Watched(Helpers):
    """Helpers that remember what they were asked, and what they answered."""

    made: list[Watched] = []  # noqa: RUF012  emptied by the fixture

    def __init__(self) -> None:
        super().__init__()
        self.pids: set[int] = set()
        self.copies = self.reads = 0
        Watched.made.append(self)

    def copied(self, tasks: Sequence[Task]) -> list[Done | None]:
        told = super().copied(tasks)
        self.copies += sum(one is not None for one in told)
        self._remember()
        return told

    def measured(self, paths: Sequence[str]) -> list[Measured | None]:
        told = super().measured(paths)
        self.reads += sum(one is not None for one in told)
        self._remember()
        return told

    def _remember(self) -> None:
        self.pids |= {each.process.pid for each in self._idle if each.process}


@pytest.fixture(autouse=True)
def watched(monkeypatch: pytest.MonkeyPatch) -> Iterator[list[Watched]]:
    Watched.made.clear()
    monkeypatch.setattr("sorter.writing.copying.Helpers", Watched)
    yield Watched.made
    for pid in {pid for each in Watched.made for pid in each.pids}:
        with pytest.raises(ProcessLookupError):  # none of them is left
            os.kill(pid, 0)


def without_help(patch: pytest.MonkeyPatch) -> None:
    patch.setattr(carry, "HELPED", 10**6)


def told(report: Report) -> list[tuple[str, str, int, tuple[Note, ...]]]:
    """What the ledger knows of each file, beside where it is."""
    return [
        (each.row.source, each.row.sha256, each.modified_ns, each.placement.carrying_notes)
        for each in report.entries
    ]


@pytest.mark.parametrize("twice", [False, True])
def test_all_is_as_without_help(
    card: Path, shoot: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch,
    watched: list[Watched], *, twice: bool,
) -> None:  # fmt: skip
    originals = contents(card)
    backup = tmp_path / "other" if twice else None
    helped = ingest(card, shoot, backup=backup)
    assert watched[0].copies == len(originals)
    assert watched[0].reads == len(originals) * (2 if twice else 1)
    for folder in filter(None, (shoot, backup)):
        hold_whole(folder, originals)
    without_help(monkeypatch)
    alone = ingest(card, tmp_path / "alone")
    assert watched[1].copies == 0
    assert told(helped) == told(alone)
    assert [source for source, _, _, said in told(helped) if Damage.CUT in said] == [
        f"{LIMPETS}/MVI_0900.MP4"
    ]
    assert contents(shoot) == contents(tmp_path / "alone")


def test_a_few_files_need_no_help(tmp_path: Path, shoot: Path, watched: list[Watched]) -> None:
    ingest(limpets(tmp_path / "few", COUNT // 2 - 4), shoot)
    assert watched[0].copies == 0
    assert not watched[0].pids


def test_helpers_that_cannot_be_started_are_not_needed(
    card: Path, shoot: Path, monkeypatch: pytest.MonkeyPatch, watched: list[Watched]
) -> None:
    monkeypatch.setattr(sys, "executable", "/nowhere/python")
    originals = contents(card)
    ingest(card, shoot)
    hold_whole(shoot, originals)
    assert watched[0].copies == 0


def test_helpers_that_say_nothing_sensible_are_not_needed(
    card: Path, shoot: Path, monkeypatch: pytest.MonkeyPatch, watched: list[Watched]
) -> None:
    monkeypatch.setattr(
        helping, "_PROGRAM", "import os, sys; os.write(int(sys.argv[2]), b'limpets\\n' * 99)"
    )
    originals = contents(card)
    ingest(card, shoot)
    hold_whole(shoot, originals)
    assert watched[0].copies == 0


@pytest.mark.parametrize("number", [signal.SIGKILL, signal.SIGTERM])
def test_helpers_that_are_killed_are_not_needed(
    card: Path, shoot: Path, monkeypatch: pytest.MonkeyPatch, number: int
) -> None:
    """SIGTERM they leave to us."""
    originals, copied, calls = contents(card), Watched.copied, [0]

    def killing(self: Watched, tasks: Sequence[Task]) -> list[Done | None]:
        done = copied(self, tasks)
        calls[0] += 1
        if calls[0] == 2:
            for pid in self.pids:
                os.kill(pid, number)
        return done

    monkeypatch.setattr(Watched, "copied", killing)
    ingest(card, shoot)
    assert calls[0] > 2
    hold_whole(shoot, originals)


@pytest.mark.parametrize("times", [1, 2])
def test_a_copy_that_came_out_different_is_made_again_and_never_placed_when_it_is_so_twice(
    card: Path, shoot: Path, monkeypatch: pytest.MonkeyPatch, times: int
) -> None:
    originals = contents(card)
    source = f"{LIMPETS}/IMG_0010.JPG"
    left, force_all, force = [times], Shoot.force_all, Shoot.force

    def spoil(folder: Path) -> None:
        for path in (folder / ".sorter" / "unfinished").iterdir():
            if left[0] and path.is_file() and path.read_bytes() == originals[source]:
                left[0] -= 1
                path.write_bytes(path.read_bytes()[:-1] + b"!")

    def all_spoiled(self: Shoot) -> bool:
        forced = force_all(self)
        spoil(self.root)
        return forced

    def one_spoiled(self: Shoot, number: int) -> None:
        force(self, number)
        spoil(self.root)

    with monkeypatch.context() as patch:
        patch.setattr(Shoot, "force_all", all_spoiled)
        patch.setattr(Shoot, "force", one_spoiled)
        report = ingest(card, shoot)
    assert left == [0]
    assert [each.row.source for each in report.differing] == ([source] if times == 2 else [])
    assert by_source(shoot) == {
        path: data for path, data in originals.items() if times == 1 or path != source
    }
    ingest(card, shoot)
    hold_whole(shoot, originals)


def test_an_interrupt_ends_the_helpers_too_and_the_next_run_goes_on(
    card: Path, shoot: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    originals = contents(card)
    with monkeypatch.context() as patch:
        fails_at(patch, Shoot, "place", call=5, error=KeyboardInterrupt())
        with pytest.raises(KeyboardInterrupt):
            ingest(card, shoot)
    ingest(card, shoot)
    hold_whole(shoot, originals)


def test_a_move_to_another_disk_is_helped_and_a_rename_is_not(
    card: Path, shoot: Path, watched: list[Watched]
) -> None:
    originals = contents(card)
    ingest(card, shoot, moves=True)
    hold_whole(shoot, originals)
    assert watched[0].copies == 0
