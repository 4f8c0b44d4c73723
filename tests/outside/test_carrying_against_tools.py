"""What was carried against tools of others: coreutils' sha256sum, rsync, and NIST's examples."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from outside.tools import differences, rebuilt, run, unlike_their_digests
from sorter.disk import streams
from sorter.disk.streams import BLOCK, Stream, digest
from sorter.pipeline import verify_both
from writing.cards import LIMPETS, contents, ingest, limpets, picture, tide_card, undo

# NIST CSRC, "Examples with Intermediate Values", SHA-256 (FIPS 180-4); from memory.
EXAMPLES = [
    (b"abc", "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"),
    (
        b"abcdbcdecdefdefgefghfghighijhijkijkljklmklmnlmnomnopnopq",
        "248d6a61d20638b8e5c026930c3e6039a33ce45964ff2167f6ecedd419db06c1",
    ),
    (b"a" * 1_000_000, "cdc76e5c9914fb9281a1c7e284d73e67f1809a48a497200e046d39ccc7112cd0"),
    (b"", "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855"),
]


def digest_of(path: Path) -> tuple[int, str]:
    with Stream(str(path)) as stream:
        return digest(stream)


# ---- the reading loop --------------------------------------------------------------------------


@pytest.mark.parametrize(("message", "expected"), EXAMPLES)
@pytest.mark.parametrize("block", [1, 7, 4096, BLOCK])
def test_the_digest_is_that_of_the_standards_examples(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, message: bytes, expected: str, block: int
) -> None:
    monkeypatch.setattr(streams, "BLOCK", block if len(message) < 1000 else max(block, 4096))
    # Memory of this size must not be kept: all that this process reads later would come byte by byte.
    monkeypatch.setattr(streams, "_pages", [])
    (tmp_path / "message").write_bytes(message)
    assert digest_of(tmp_path / "message") == (len(message), expected)


@pytest.mark.parametrize(
    "size", [BLOCK - 1, BLOCK, BLOCK + 1, 2 * BLOCK, 2 * BLOCK + 4097, 3 * BLOCK - 7]
)
def test_the_digest_of_more_than_a_block_is_sha256sums(tmp_path: Path, size: int) -> None:
    path = tmp_path / "splash.mp4"
    path.write_bytes((b"%08x" % size * (size // 8 + 1))[:size])
    told = run("sha256sum", str(path))
    assert told.stdout.split()[0] == digest_of(path)[1]
    assert digest_of(path)[0] == size


# ---- a shoot -----------------------------------------------------------------------------------


@pytest.fixture
def card(tmp_path: Path) -> Path:
    """A card with files of more than a block, names that are hard to write, and an empty file."""
    card = tide_card(tmp_path / "card")
    (card / "latest.JPG").unlink()
    for number, size in enumerate((BLOCK + 1, 2 * BLOCK - 3, 3 * BLOCK + 511)):
        path = picture(card / "DCIM" / "102TIDES" / f"IMG_{number:04d}.JPG", 3000 + 900 * number)
        # behind the end marker, as phones do
        path.write_bytes((path.read_bytes() * (size // path.stat().st_size + 1))[:size])
    (card / "west pool, 2nd tide.txt").write_text("limpets")
    (card / "anemone é 海.txt").write_text("anemones")
    (card / "back\\slash.txt").write_text("barnacles")
    return card


@pytest.fixture
def shoot(card: Path, tmp_path: Path) -> Path:
    ingest(card, tmp_path / "shoot")
    return tmp_path / "shoot"


def test_sha256sum_finds_every_file_as_it_was_carried(card: Path, shoot: Path) -> None:
    told = run("sha256sum", "--strict", "--check", "SHA256SUMS", cwd=shoot)
    assert (told.returncode, told.stderr) == (0, "")
    lines = told.stdout.splitlines()
    assert len(lines) == len(contents(card))
    assert all(line.endswith(": OK") for line in lines)


def test_sha256sum_finds_the_file_that_changed(shoot: Path) -> None:
    path = shoot / "0001_burst_4" / "IMG_0002.JPG"
    path.write_bytes(path.read_bytes().swapcase())
    told = run("sha256sum", "--quiet", "--check", "SHA256SUMS", cwd=shoot)
    assert told.returncode == 1
    assert told.stdout == "0001_burst_4/IMG_0002.JPG: FAILED\n"


def test_rsync_finds_nothing_to_do_between_card_and_shoot(
    card: Path, shoot: Path, tmp_path: Path
) -> None:
    assert differences(card, rebuilt(shoot, tmp_path / "rebuilt")) == []


def test_rsync_would_find_a_changed_byte_or_a_file_too_few(
    card: Path, shoot: Path, tmp_path: Path
) -> None:
    again = rebuilt(shoot, tmp_path / "rebuilt")
    path = again / LIMPETS / "IMG_0001.JPG"
    stamp, data = path.stat().st_mtime_ns, path.read_bytes()
    path.write_bytes(data.swapcase())
    os.utime(path, ns=(stamp, stamp))
    (again / "tides.txt").unlink()
    told = {line.split(maxsplit=1)[1] for line in differences(card, again)}
    assert told == {f"{LIMPETS}/IMG_0001.JPG", "tides.txt"}


def test_rsync_finds_a_move_taken_back_as_it_was(tmp_path: Path) -> None:
    """A tree that rsync itself copied before is what an undone move is held against."""
    card = limpets(tmp_path / "card")
    run("rsync", "--archive", f"{card}/", f"{tmp_path / 'before'}/")
    ingest(card, tmp_path / "shoot", moves=True)
    assert differences(tmp_path / "before", card) != []
    undo(tmp_path / "shoot")
    assert differences(tmp_path / "before", card) == []


# ---- the second copy -----------------------------------------------------------------------------


@pytest.mark.parametrize("moves", [False, True])
def test_both_tools_find_nothing_in_either_copy(tmp_path: Path, *, moves: bool) -> None:
    """A tree that rsync itself copied before is what both copies are held against."""
    card = tide_card(tmp_path / "card")
    (card / "latest.JPG").unlink()
    run("rsync", "--archive", f"{card}/", f"{tmp_path / 'before'}/")
    shoot, other = tmp_path / "shoot", tmp_path / "other"
    ingest(card, shoot, backup=other, moves=moves)
    for folder in (shoot, other):
        assert unlike_their_digests(folder) == []
        again = rebuilt(folder, tmp_path / f"{folder.name} rebuilt")
        assert differences(tmp_path / "before", again) == []


def test_both_tools_find_nothing_after_a_mending(tmp_path: Path) -> None:
    card = limpets(tmp_path / "card")
    shoot, other = tmp_path / "shoot", tmp_path / "other"
    ingest(card, shoot, backup=other)
    one, two = sorted(path for path in contents(shoot) if path.endswith(".JPG"))[:2]
    (shoot / one).unlink()
    (other / two).write_bytes(b"barnacles")
    assert unlike_their_digests(other) != []
    verify_both(shoot, other, lambda *_: None, lambda *_: None, mends=True)
    for folder in (shoot, other):
        assert unlike_their_digests(folder) == []
        again = rebuilt(folder, tmp_path / f"{folder.name} rebuilt")
        assert differences(card, again) == []
