"""A shoot held against its ledger: what is missing, changed, edited, added or was never carried."""

from __future__ import annotations

import errno
import os
from pathlib import Path

import pytest

import tides
from sorter.errors import NoRoom, NoShoot
from writing.cards import LIMPETS, contents, found, ingest, limpets, tree
from writing.faults import full_disk, read_faults

BURST = "0001_burst_4"
card = tides.linkless_card
shoot = tides.shoot_of_card


def test_a_shoot_as_it_was_carried_is_good(card: Path, shoot: Path) -> None:
    before = tree(shoot)
    findings = found(shoot)
    assert findings.good == len(contents(card))
    assert not findings.has_failed
    assert not findings.has_remarks
    assert tree(shoot) == before


def test_what_is_missing_or_changed_is_named(card: Path, shoot: Path) -> None:
    (shoot / BURST / "IMG_0003.JPG").unlink()
    (shoot / BURST / "IMG_0002.JPG").unlink()
    picture = shoot / "singles" / "IMG_0001.JPG"
    picture.write_bytes(picture.read_bytes()[:-1] + b"\0")
    clip = shoot / "clips" / "MVI_0003.MP4"
    clip.write_bytes(clip.read_bytes() + b"\0")
    findings = found(shoot)
    assert findings.missing == [f"{BURST}/IMG_0002.JPG", f"{BURST}/IMG_0003.JPG"]
    assert findings.changed == ["clips/MVI_0003.MP4", "singles/IMG_0001.JPG"]
    assert findings.good == len(contents(card)) - 4
    assert findings.has_failed


def test_a_changed_file_of_equal_size_and_time_is_found(shoot: Path) -> None:
    path = shoot / "singles" / "IMG_0002.JPG"
    stamp, data = path.stat().st_mtime_ns, bytearray(path.read_bytes())
    data[len(data) // 2] ^= 1
    path.write_bytes(data)
    os.utime(path, ns=(stamp, stamp))
    assert found(shoot).changed == ["singles/IMG_0002.JPG"]


@pytest.mark.parametrize("stand_in", ["link", "folder"])
def test_what_stands_in_for_a_file_is_no_file(shoot: Path, stand_in: str) -> None:
    path = shoot / "singles" / "IMG_0002.JPG"
    moved = path.rename(shoot.parent / "moved.JPG")
    path.symlink_to(moved) if stand_in == "link" else path.mkdir()
    findings = found(shoot)
    assert findings.changed == ["singles/IMG_0002.JPG"]
    assert not findings.missing


def test_an_edited_sidecar_and_what_was_added_are_remarks(card: Path, shoot: Path) -> None:
    (shoot / BURST / "IMG_0001.xmp").write_text("<x:xmpmeta>five stars</x:xmpmeta>")
    (shoot / "singles" / "IMG_0001.xmp").write_text("<x:xmpmeta/>")
    (shoot / "best.txt").write_text("IMG_0003")
    findings = found(shoot)
    assert (findings.edited, findings.sidecars) == ([f"{BURST}/IMG_0001.xmp"], 1)
    assert findings.added == ["best.txt", "singles/IMG_0001.xmp"]
    assert findings.good == len(contents(card)) - 1
    assert (findings.has_failed, findings.has_remarks) == (False, True)


@pytest.mark.parametrize("name", ["manifest.csv", "SHA256SUMS"])
def test_a_list_of_ours_that_was_edited_is_named(shoot: Path, name: str) -> None:
    (shoot / name).write_text("limpet")
    findings = found(shoot)
    assert (findings.edited, findings.added) == ([name], [])
    assert not findings.has_failed


@pytest.mark.parametrize("system_files", [".DS_Store", "singles/._IMG_0001.JPG", "Thumbs.db"])
def test_litter_is_not_called_added(shoot: Path, system_files: str) -> None:
    (shoot / system_files).write_bytes(b"x")
    assert not found(shoot).has_remarks


def test_what_later_stages_write_is_ours(shoot: Path) -> None:
    (shoot / "report").mkdir()
    (shoot / "report" / "index.html").write_text("<p>limpets")
    (shoot / "checks.csv").write_text("sequence")
    assert not found(shoot).has_remarks


def test_a_file_that_the_disk_does_not_give_is_named(
    card: Path, shoot: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    read_faults(monkeypatch, shoot / "singles" / "IMG_0002.JPG", times=2)
    findings = found(shoot)
    assert findings.unreadable == {"singles/IMG_0002.JPG": os.strerror(errno.EIO)}
    assert findings.good == len(contents(card)) - 1
    assert findings.has_failed


def test_after_a_stop_what_was_not_carried_is_named(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    card, shoot = limpets(tmp_path / "card"), tmp_path / "shoot"
    with monkeypatch.context() as patch:
        patch.setattr("sorter.writing.carry.BATCH_FILES", 2)
        full_disk(patch, after=7)
        with pytest.raises(NoRoom):
            ingest(card, shoot)
    findings = found(shoot)
    assert 0 < findings.good < 8
    assert findings.good + len(findings.uncarried) == 8
    assert all(path.startswith(LIMPETS) for path in findings.uncarried)
    assert (findings.has_failed, findings.has_remarks) == (False, True)
    assert findings.added == []


def test_a_folder_without_a_ledger_is_no_shoot(tmp_path: Path) -> None:
    with pytest.raises(NoShoot):
        found(tmp_path)
    assert list(tmp_path.iterdir()) == []
