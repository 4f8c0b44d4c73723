"""What counts as an original: a file of the card itself, never the copy that is to be taken back."""

from __future__ import annotations

import hashlib
import os
import shutil
import subprocess
from collections.abc import Callable, Iterator
from contextlib import ExitStack
from pathlib import Path
from typing import Final

import pytest
from click.testing import CliRunner, Result

from faults.disks import may_mount, mounted
from sorter.cli import commands
from sorter.disk.originals import Original, Originals
from sorter.disk.shoot import Shoot
from sorter.errors import OnlyCopies
from sorter.writing.undo import BEHIND_LINK, OCCUPIED, OURS
from writing.cards import (
    ANEMONES,
    LIMPETS,
    contents,
    destinations,
    ingest,
    limpets,
    picture,
    stamped,
    tree,
    undo,
)

FIRST: Final = f"{LIMPETS}/IMG_0001.JPG"
CAN_MOUNT: Final = pytest.mark.skipif(not may_mount(), reason="mounting takes root")


def sorter(*arguments: str | Path) -> Result:
    return CliRunner().invoke(commands, list(map(str, arguments)), prog_name="sorter")


def refused(result: Result, *says: str) -> None:
    """Exit code 2, nothing on stdout, one sentence on stderr."""
    assert (result.exit_code, result.stdout) == (2, ""), result.output
    assert result.stderr.startswith("Error: ")
    assert result.stderr.count("\n") == 1
    for words in says:
        assert words in result.stderr


@pytest.fixture
def card(tmp_path: Path) -> Path:
    """Bursts in two folders, so that each folder of the shoot has the names of one of the card's."""
    card = limpets(tmp_path / "card", 3)
    for number in (1, 2, 3):
        name = f"IMG_{number:04d}.JPG"
        picture(card / ANEMONES / name, 900 + 0.25 * number, shade=99 - number)
    stamped(card)
    return card


@pytest.fixture
def shoot(tmp_path: Path) -> Path:
    return tmp_path / "shoot"


@pytest.fixture
def mounts() -> Iterator[ExitStack]:
    with ExitStack() as stack:
        yield stack


# ---- a folder that is no card -------------------------------------------------------------------


def linked(shoot: Path, base: Path) -> Path:
    (base / "link").symlink_to(shoot)
    return base / "link"


def second(shoot: Path, base: Path) -> Path:
    """Another shoot of the same card, under whose paths nothing would be found anyway."""
    assert sorter("ingest", base / "card", shoot, "--backup", base / "second").exit_code == 0
    return base / "second"


NO_CARDS: Final[dict[str, tuple[Callable[[Path, Path], Path], str]]] = {
    "the shoot": (lambda shoot, _: shoot, "is the shoot"),
    "a link to it": (linked, "is the shoot"),
    "a way around": (lambda shoot, _: shoot / "0001_burst_3" / "..", "is the shoot"),
    "a folder in it": (lambda shoot, _: shoot / "0001_burst_3", "lies in the shoot"),
    "what is hidden in it": (lambda shoot, _: shoot / ".sorter", "lies in the shoot"),
    "a folder around it": (lambda _, base: base, "holds the shoot"),
    "another shoot": (second, "is a shoot, and no card"),
}


@pytest.mark.parametrize("moves", [False, True])
@pytest.mark.parametrize("more", [(), ("--without-card",)])
@pytest.mark.parametrize("way", NO_CARDS)
def test_a_shoot_is_no_card(
    card: Path, shoot: Path, tmp_path: Path, way: str, more: tuple[str, ...], *, moves: bool
) -> None:
    ingest(card, shoot, moves=moves)
    make, says = NO_CARDS[way]
    named = make(shoot, tmp_path)
    before = contents(tmp_path)
    refused(sorter("undo", shoot, "--yes", "--card", named, *more), "--card", says)
    assert contents(tmp_path) == before


@CAN_MOUNT
@pytest.mark.parametrize("moves", [False, True])
@pytest.mark.parametrize("below", [".", "0001_burst_3"])
def test_a_shoot_that_is_mounted_elsewhere_too_is_no_card(
    card: Path, shoot: Path, tmp_path: Path, mounts: ExitStack, below: str, *, moves: bool
) -> None:
    ingest(card, shoot, moves=moves)
    named = mounts.enter_context(mounted(tmp_path / "mnt", str(shoot / below), "--bind"))
    before = contents(shoot)
    refused(sorter("undo", shoot, "--yes", "--card", named), "the shoot")
    assert contents(shoot) == before


def test_the_folder_that_a_card_was_in_may_hold_the_shoot_by_now(card: Path, shoot: Path) -> None:
    """No card was named; without one the copies may still be removed."""
    ingest(card, shoot)
    shutil.rmtree(card)
    moved = card / "shoot"
    card.mkdir()
    shutil.move(shoot, moved)
    before = contents(moved)
    refused(sorter("undo", moved, "--yes"), "holds the shoot", "--card")
    assert contents(moved) == before
    assert sorter("undo", moved, "--yes", "--without-card").exit_code == 0
    assert not moved.exists()


# ---- a card that leads into the shoot -----------------------------------------------------------

Lead = Callable[[Path, Path, dict[str, str], ExitStack], None]


def by_links_to_files(fake: Path, shoot: Path, places: dict[str, str], _: ExitStack) -> None:
    for source, destination in places.items():
        (fake / source).parent.mkdir(parents=True, exist_ok=True)
        (fake / source).symlink_to(shoot / destination)


def by_hard_links(fake: Path, shoot: Path, places: dict[str, str], _: ExitStack) -> None:
    for source, destination in places.items():
        (fake / source).parent.mkdir(parents=True, exist_ok=True)
        (fake / source).hardlink_to(shoot / destination)


def folders(shoot: Path, places: dict[str, str]) -> dict[str, Path]:
    """By the card's folders: those of the shoot that have files of the same names."""
    return {
        source.rpartition("/")[0]: (shoot / destination).parent
        for source, destination in places.items()
    }


def by_links_to_folders(fake: Path, shoot: Path, places: dict[str, str], _: ExitStack) -> None:
    for folder, there in folders(shoot, places).items():
        (fake / folder).parent.mkdir(parents=True, exist_ok=True)
        (fake / folder).symlink_to(there)


def by_a_link_above(fake: Path, shoot: Path, places: dict[str, str], _: ExitStack) -> None:
    fake.mkdir()
    (fake / "DCIM").symlink_to(fake.with_name("tree"))
    for folder, there in folders(shoot, places).items():
        (fake.with_name("tree") / folder).parent.mkdir(parents=True, exist_ok=True)
        (fake.with_name("tree") / folder.rpartition("/")[2]).symlink_to(there)


def by_mounts(fake: Path, shoot: Path, places: dict[str, str], mounts: ExitStack) -> None:
    for folder, there in folders(shoot, places).items():
        mounts.enter_context(mounted(fake / folder, str(there), "--bind"))


def by_mounts_of_files(fake: Path, shoot: Path, places: dict[str, str], mounts: ExitStack) -> None:
    for source, destination in places.items():
        (fake / source).parent.mkdir(parents=True, exist_ok=True)
        (fake / source).touch()
        _bound(fake / source, shoot / destination, mounts)


def _bound(path: Path, there: Path, mounts: ExitStack) -> None:
    """As disks.mounted does it, which makes a folder."""

    def run(*command: str) -> None:
        subprocess.run(command, check=True, capture_output=True)  # noqa: S603  named here

    run("/bin/mount", "--bind", str(there), str(path))
    mounts.callback(run, "/bin/umount", "--lazy", str(path))


LEADS: Final = {
    "links to files": by_links_to_files,
    "hard links": by_hard_links,
    "links to folders": by_links_to_folders,
    "a link above": by_a_link_above,
    "mounts": by_mounts,
    "mounts of files": by_mounts_of_files,
}
MOUNTED: Final = ("mounts", "mounts of files")
WAYS: Final = [pytest.param(each, marks=CAN_MOUNT) if each in MOUNTED else each for each in LEADS]
SAYS: Final = {
    "hard links": "only as another name of the copy itself",
    "mounts": "only in a folder of the shoot itself",
    "mounts of files": "only as another name of the copy itself",
}


@pytest.mark.parametrize("named", [True, False])
@pytest.mark.parametrize("way", WAYS)
def test_a_copy_is_not_its_own_original(
    card: Path, shoot: Path, tmp_path: Path, mounts: ExitStack, way: str, *, named: bool
) -> None:
    ingest(card, shoot)
    fake = tmp_path / "fake"
    LEADS[way](fake, shoot, destinations(shoot), mounts)
    for source in destinations(shoot):
        assert (fake / source).read_bytes() == (card / source).read_bytes()
    if not named:
        card.rename(tmp_path / "drawer")
        card.symlink_to(fake)
    before = contents(shoot)
    more = ("--card", fake) if named else ()
    result = sorter("undo", shoot, "--yes", *more)
    refused(result, SAYS.get(way, "only behind a link"), "and 8 more", "Nothing was done")
    assert contents(shoot) == before
    assert sorter("verify", shoot).exit_code == 0


@pytest.mark.parametrize("way", WAYS)
def test_a_moved_file_goes_to_no_card_that_leads_into_the_shoot(
    card: Path, shoot: Path, tmp_path: Path, mounts: ExitStack, way: str
) -> None:
    """Hard links are the exception: a file that has its name on the card already is back there."""
    originals = contents(card)
    ingest(card, shoot, moves=True)
    fake = tmp_path / "fake"
    LEADS[way](fake, shoot, destinations(shoot), mounts)
    result = sorter("undo", shoot, "--yes", "--card", fake)
    if way == "hard links":
        assert (result.exit_code, contents(fake)) == (0, originals)
        return
    assert result.exit_code == 1
    reasons = {"mounts": OURS, "mounts of files": OCCUPIED}
    assert result.stdout.count(reasons.get(way, BEHIND_LINK)) == len(originals)
    held = {path: data for path, data in contents(shoot).items() if "/" in path}
    assert sorted(held.values()) == sorted(originals.values())
    mounts.close()
    assert sorter("undo", shoot, "--yes", "--card", card).exit_code == 0
    assert contents(card) == originals
    assert not shoot.exists()


def test_an_original_behind_a_link_is_none(card: Path, shoot: Path, tmp_path: Path) -> None:
    """An ingest follows no link, and so neither does its undo, wherever the link leads."""
    ingest(card, shoot)
    (card / LIMPETS).rename(tmp_path / "limpets")
    (card / LIMPETS).symlink_to(tmp_path / "limpets")
    refused(sorter("undo", shoot, "--yes"), "only behind a link", "and 5 more")
    (tmp_path / "link").symlink_to(card)
    (card / LIMPETS).unlink()
    (tmp_path / "limpets").rename(card / LIMPETS)
    assert sorter("undo", shoot, "--yes", "--card", tmp_path / "link").exit_code == 0


def test_what_lies_in_the_shoot_and_was_not_noted_as_placed_counts_too(
    card: Path, shoot: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A copy that was found broken and is to be carried again, and that its owner put back."""
    second = card.parent / "second"
    ingest(card, shoot, backup=second)
    copy = second / destinations(shoot)[FIRST]
    data = copy.read_bytes()
    copy.write_bytes(b"zeros")

    def interrupted(*_: object) -> None:
        raise KeyboardInterrupt

    with monkeypatch.context() as patch:
        patch.setattr(Shoot, "new_file", interrupted)
        with pytest.raises(KeyboardInterrupt):
            ingest(card, shoot, backup=second)
    copy.write_bytes(data)
    shutil.rmtree(card)
    with pytest.raises(OnlyCopies, match="and 8 more"):
        undo(second)
    assert copy.read_bytes() == data


# ---- one look -----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("source", "found"),
    [
        (FIRST, Original.THERE),
        (f"{LIMPETS}/IMG_0009.JPG", Original.GONE),
        (f"{FIRST}/IMG_0001.JPG", Original.OTHER),
        ("DCIM", Original.OTHER),
        (f"{LIMPETS}/IMG_0002.JPG", Original.OTHER),
    ],
)
def test_what_a_card_has(card: Path, shoot: Path, source: str, found: Original) -> None:
    ingest(card, shoot)
    data = (card / FIRST).read_bytes()
    known = (len(data), hashlib.sha256(data).hexdigest())
    before = tree(card)
    assert Originals(card, Shoot(shoot)).inspect(source, destinations(shoot)[FIRST], known) is found
    assert tree(card) == before


@pytest.mark.parametrize("source", ["../shoot/x", "/etc/hostname", "DCIM/../../x", "a//b", "", "."])
def test_a_path_of_a_damaged_ledger_leads_nowhere(card: Path, shoot: Path, source: str) -> None:
    ingest(card, shoot)
    copy = destinations(shoot)[FIRST]
    with pytest.raises(OSError, match="leads out of the card"):
        Originals(card, Shoot(shoot)).inspect(source, copy, (1, ""))


def test_a_card_without_any_link_is_only_read(card: Path, shoot: Path) -> None:
    ingest(card, shoot)
    os.sync()
    before = tree(card)
    assert sorter("undo", shoot, "--yes").exit_code == 0
    assert tree(card) == before
