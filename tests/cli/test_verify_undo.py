"""`sorter verify` and `sorter undo` as a user calls them."""

from __future__ import annotations

import errno
import os
import shutil
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

import tides
from sorter.cli import commands
from sorter.cli.phrases import amount
from sorter.disk.shoot import Shoot
from sorter.model.kinds import Kind
from sorter.writing.ledger import Ledger
from writing import cards
from writing.cards import ANEMONES, contents, ingest, tree
from writing.faults import fails_at
from writing.regrouping import regrouped, wish

BURST = "0001_burst_4"


def sorter(*arguments: str | Path, answer: str | None = None) -> Result:
    return CliRunner().invoke(commands, list(map(str, arguments)), prog_name="sorter", input=answer)


def refused(result: Result, *says: str) -> None:
    """Exit code 2, nothing on stdout, one sentence on stderr."""
    assert (result.exit_code, result.stdout) == (2, "")
    assert result.stderr.startswith("Error: ")
    assert result.stderr.count("\n") == 1
    for words in says:
        assert words in result.stderr


card = tides.readable_card
shoot = tides.shoot_of_card
terminal = tides.terminal


# ---- the second copy ----------------------------------------------------------------------------


def test_a_second_copy_from_the_card_to_a_mended_shoot(card: Path, tmp_path: Path) -> None:
    shoot, other = tmp_path / "shoot", tmp_path / "other"
    result = sorter("ingest", card, shoot, "--backup", other, "--dry-run")
    assert f"A second copy of each goes to {other}." in result.stdout
    assert not other.exists()
    result = sorter("ingest", card, shoot, "--backup", other)
    assert result.exit_code == 0
    assert f"Second copy: 12 of 12 files verified in {other}." in result.stdout
    both = ("verify", shoot, "--backup", other)
    assert sorter(*both).exit_code == 0
    (other / BURST / "IMG_0002.JPG").write_bytes(b"barnacles")
    (shoot / BURST / "IMG_0003.JPG").unlink()
    result = sorter(*both)
    assert result.exit_code == 4
    assert "MISSING\n  0001_burst_4/IMG_0003.JPG" in result.stdout
    assert "CHANGED\n  0001_burst_4/IMG_0002.JPG" in result.stdout
    assert result.stdout.endswith("Give --mend to copy what one of them lacks from the other.\n")
    result = sorter(*both, "--mend")
    assert result.exit_code == 0
    assert f"mended in {shoot}\n  0001_burst_4/IMG_0003.JPG" in result.stdout
    assert f"mended in {other}\n  0001_burst_4/IMG_0002.JPG" in result.stdout
    assert contents(shoot) == contents(other)
    assert sorter(*both).exit_code == 0


def test_what_the_shoot_has_and_the_second_copy_lacks_is_told_before_it_is_copied(
    card: Path, shoot: Path, tmp_path: Path
) -> None:
    result = sorter("ingest", card, shoot, "--backup", tmp_path / "other")
    assert result.exit_code == 0
    assert f" of the shoot are not in {tmp_path / 'other'} yet: copied there" in result.stderr
    assert contents(tmp_path / "other") == contents(shoot)


def test_a_second_copy_whose_disk_fills_ends_with_3_and_the_shoot_is_whole(
    card: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    shoot, other = tmp_path / "shoot", tmp_path / "other"
    room = Shoot.free_space
    monkeypatch.setattr(Shoot, "free_space", lambda self: 9 if self.root == other else room(self))
    result = sorter("ingest", card, shoot, "--backup", other)
    assert result.exit_code == 3
    assert "12 of 12 files verified" in result.stdout
    assert "not everything is in the second copy: 12 files were not verified" in result.stdout
    assert result.stderr.startswith(f"Error: {other}: ")
    assert "make room" in result.stderr


def test_mending_needs_a_second_copy(shoot: Path) -> None:
    result = sorter("verify", shoot, "--mend")
    assert result.exit_code == 2
    assert "--mend needs --backup" in result.stderr


@pytest.mark.parametrize("inside", [True, False])
def test_a_second_copy_within_the_shoot_is_refused(
    card: Path, shoot: Path, *, inside: bool
) -> None:
    result = sorter("ingest", card, shoot, "--backup", shoot / "other" if inside else shoot)
    refused(result, "may not lie in one another")


# ---- verify ------------------------------------------------------------------------------------


def test_a_good_shoot(shoot: Path) -> None:
    before = tree(shoot)
    result = sorter("verify", shoot)
    assert (result.exit_code, result.stderr) == (0, "")
    assert result.stdout == f"12 of 12 files verified in {shoot}.\n"
    assert tree(shoot) == before


def test_added_edited_and_uncarried_files_are_listed(card: Path, shoot: Path) -> None:
    (shoot / BURST / "IMG_0001.xmp").write_text("<x:xmpmeta>five stars</x:xmpmeta>")
    (shoot / "best.txt").write_text("IMG_0003")
    (card / "latest.JPG").symlink_to(card / "tides.txt")
    ingest(card, shoot)
    result = sorter("verify", shoot)
    assert result.exit_code == 1
    assert f"edited since (sidecars, lists)\n  {BURST}/IMG_0001.xmp\n" in result.stdout
    assert "added since, and not known to the ledger\n  best.txt\n" in result.stdout
    assert "of the card, and never carried\n  latest.JPG\n" in result.stdout
    assert "11 of 12 files verified" in result.stdout


def test_changed_and_missing_files_are_named(shoot: Path) -> None:
    (shoot / "singles" / "IMG_0001.JPG").unlink()
    (shoot / "singles" / "IMG_0002.JPG").write_bytes(b"cropped")
    (shoot / "best.txt").write_text("IMG_0003")
    result = sorter("verify", shoot)
    assert result.exit_code == 4
    assert "MISSING\n  singles/IMG_0001.JPG\n" in result.stdout
    assert "CHANGED\n  singles/IMG_0002.JPG\n" in result.stdout
    assert f"10 of 12 files verified in {shoot}." in result.stdout
    assert "from your second copy" in result.stdout


def test_what_is_no_shoot_is_refused(tmp_path: Path) -> None:
    for command in (("verify",), ("undo", "--yes")):
        refused(sorter(*command, tmp_path / "nowhere"), "this is no shoot folder")
        refused(sorter(*command, tmp_path), "this is no shoot folder")
    assert list(tmp_path.iterdir()) == []


def test_a_damaged_ledger_is_told_of_and_left(shoot: Path) -> None:
    (shoot / ".sorter" / "ledger.db").write_bytes(b"limpet " * 800)
    before = contents(shoot)
    for command in (("verify",), ("undo", "--yes")):
        refused(sorter(*command, shoot), "cannot be read", "sha256sum -c")
    assert contents(shoot) == before


def test_while_another_run_is_at_work_both_stop(shoot: Path) -> None:
    before = contents(shoot)
    with Ledger(shoot / ".sorter", hold=True):
        for command in (("verify",), ("undo", "--yes")):
            result = sorter(*command, shoot)
            assert (result.exit_code, result.stdout) == (3, "")
            assert f"another run is at work here (process {os.getpid()}" in result.stderr
    assert contents(shoot) == before


# ---- undo --------------------------------------------------------------------------------------


def test_copies_are_taken_back(card: Path, shoot: Path) -> None:
    before = tree(card)
    size = sum(path.stat().st_size for path in card.rglob("*") if path.is_file())
    result = sorter("undo", shoot, "--yes")
    newest = f"To be taken back: the newest ingest of {card}, 12 files ({amount(size)}).\n"
    assert (result.exit_code, result.stderr) == (0, newest)
    assert result.stdout == "12 copies removed from the shoot.\n"
    assert not shoot.exists()
    assert tree(card) == before
    refused(sorter("undo", shoot, "--yes"), "this is no shoot folder")


def test_moved_files_are_taken_back(card: Path, tmp_path: Path) -> None:
    originals = contents(card)
    ingest(card, tmp_path / "shoot", moves=True)
    result = sorter("undo", tmp_path / "shoot", "--yes")
    assert result.exit_code == 0
    assert result.stdout == f"12 files moved back to {card}.\n"
    assert contents(card) == originals


def test_without_a_terminal_undo_needs_yes(shoot: Path, tmp_path: Path) -> None:
    before = tree(tmp_path)
    refused(sorter("undo", shoot), "--yes")
    assert tree(tmp_path) == before


@pytest.mark.usefixtures("terminal")
def test_an_undo_that_is_not_agreed_to_is_not_done(card: Path, shoot: Path) -> None:
    before, kept = contents(shoot), tree(card)
    result = sorter("undo", shoot, answer="n\n")
    assert result.exit_code == 2
    assert f"Take the last ingest of {shoot} back: remove 12 files (" in result.stderr
    assert (contents(shoot), tree(card)) == (before, kept)
    assert sorter("undo", shoot, answer="y\n").exit_code == 0
    assert not shoot.exists()


@pytest.mark.usefixtures("terminal")
def test_a_regrouping_is_taken_back_first(shoot: Path) -> None:
    before = contents(shoot)
    regrouped(shoot, wish(Kind.MARKER, 2))
    result = sorter("undo", shoot, answer="n\n")
    assert f"Take the last regrouping of {shoot} back: move 8 files (" in result.stderr
    result = sorter("undo", shoot, answer="y\n")
    assert (result.exit_code, contents(shoot)) == (0, before)
    assert "The last regrouping is taken back: 8 files moved." in result.stdout
    assert sorter("undo", shoot, answer="y\n").exit_code == 0
    assert not shoot.exists()


def test_what_stays_is_named(shoot: Path) -> None:
    (shoot / "singles" / "IMG_0002.JPG").write_bytes(b"cropped")
    result = sorter("undo", shoot, "--yes")
    assert result.exit_code == 1
    assert f"stay in {shoot}\n  singles/IMG_0002.JPG: changed since it was carried" in result.stdout
    assert "11 copies removed from the shoot.\n" in result.stdout
    assert contents(shoot) == {"singles/IMG_0002.JPG": b"cropped"}


def test_the_only_copies_are_kept_unless_that_is_asked_for(card: Path, shoot: Path) -> None:
    shutil.rmtree(card)
    card.mkdir()
    before = contents(shoot)
    refused(sorter("undo", shoot, "--yes"), "and 11 more", "--without-card", "Nothing was done")
    assert contents(shoot) == before
    assert sorter("verify", shoot).exit_code == 0
    assert sorter("undo", shoot, "--yes", "--without-card").exit_code == 0
    assert not shoot.exists()


def test_the_card_may_be_named(card: Path, shoot: Path) -> None:
    elsewhere = card.rename(card.with_name("elsewhere"))
    refused(sorter("undo", shoot, "--yes"), "--card")
    assert sorter("undo", shoot, "--yes", "--card", elsewhere).exit_code == 0


def test_an_undo_that_stops_is_ended_by_the_next(
    card: Path, shoot: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with monkeypatch.context() as patch:
        error = OSError(errno.EIO, os.strerror(errno.EIO))
        fails_at(patch, Shoot, "remove", call=5, error=error)
        result = sorter("undo", shoot, "--yes")
    assert (result.exit_code, result.stdout) == (3, "")
    assert "run the same command again" in result.stderr
    refused(sorter("ingest", card, shoot), "an undo was stopped here", "sorter undo")
    assert sorter("undo", shoot, "--yes").exit_code == 0
    assert not shoot.exists()


def test_one_undo_takes_one_ingest_back(card: Path, shoot: Path, tmp_path: Path) -> None:
    before = contents(shoot)
    cards.picture(tmp_path / "second" / "IMG_0001.JPG", 4000)
    ingest(tmp_path / "second", shoot)
    assert sorter("undo", shoot, "--yes").stdout == "1 copy removed from the shoot.\n"
    assert contents(shoot) == before
    assert sorter("undo", shoot, "--yes").stdout == "12 copies removed from the shoot.\n"
    assert contents(card) != {}


# ---- verify --card ------------------------------------------------------------------------------


def test_an_empty_folder_given_as_the_card_is_not_called_compared(
    shoot: Path, tmp_path: Path
) -> None:
    """An unmounted card leaves an empty folder: a script may format what comes next."""
    (tmp_path / "media" / "DCIM").mkdir(parents=True)
    result = sorter("verify", shoot, "--card", tmp_path / "media")
    assert result.exit_code == 1
    last = result.stdout.splitlines()[-1]
    assert last == f"There is no file of a card in {tmp_path}/media: nothing was compared."


@pytest.mark.parametrize("what", ["trash", "link", "shoot"])
def test_a_card_with_nothing_but_what_is_never_carried_is_not_to_be_formatted(
    shoot: Path, tmp_path: Path, what: str
) -> None:
    card = tmp_path / "media"
    (card / "DCIM").mkdir(parents=True)
    if what == "trash":
        cards.picture(card / ".Trashes" / "IMG_0099.JPG", 905)
    elif what == "link":
        (card / "DCIM" / "100TIDES").symlink_to(shoot)
    else:
        shutil.copytree(shoot, card / "DCIM" / "100TIDES")
    result = sorter("verify", shoot, "--card", card)
    assert result.exit_code == 1
    assert result.stdout.splitlines()[-1].startswith("Do not format the card: 1 ")


def test_a_picture_in_a_trash_is_a_remark(card: Path, shoot: Path) -> None:
    cards.picture(card / ".Trashes" / "IMG_0099.JPG", 905)
    result = sorter("verify", shoot, "--card", card)
    assert result.exit_code == 1
    assert "Do not format the card: 1 picture in a trash" in result.stdout


def test_one_file_is_and_many_are(shoot: Path, tmp_path: Path) -> None:
    (tmp_path / "media").mkdir()
    shutil.copy(shoot / BURST / "IMG_0002.JPG", tmp_path / "media")
    said = sorter("verify", shoot, "--card", tmp_path / "media").stdout
    assert "1 of 1 file on the card is in the shoot, equal byte by byte." in said


def test_a_second_copy_that_is_behind_has_no_edited_list(card: Path, tmp_path: Path) -> None:
    shoot, other = tmp_path / "shoot", tmp_path / "other"
    sorter("ingest", card, shoot, "--backup", other)
    cards.picture(card / ANEMONES / "IMG_0099.JPG", 900)
    sorter("ingest", card, shoot)
    result = sorter("verify", shoot, "--backup", other)
    assert result.exit_code == 1
    assert "edited since" not in result.stdout
    assert f"12 of 13 files verified in {other}." in result.stdout
    (other / "manifest.csv").write_text("stars")
    said = sorter("verify", shoot, "--backup", other).stdout
    assert "edited since (sidecars, lists)\n  manifest.csv" in said


# ---- an ingest of a card that was moved ---------------------------------------------------------


def test_a_card_without_files_says_nothing_of_copies_and_names_what_is_left(
    card: Path, tmp_path: Path
) -> None:
    shoot = tmp_path / "shoot"
    ingest(card, shoot, moves=True)
    result = sorter("ingest", card, shoot)
    assert (result.exit_code, result.stdout.count("\n")) == (0, 2)
    assert f"`sorter verify {shoot}` reads it." in result.stdout
    assert "or it is another card. Nothing was carried, and no copy was read." in result.stdout
    (card / ".Trashes").mkdir()
    shutil.copy(shoot / BURST / "IMG_0002.JPG", card / ".Trashes")
    said = sorter("ingest", card, shoot).stdout.splitlines()[-1]
    assert said.startswith("Do not format the card: 1 picture in a trash")
