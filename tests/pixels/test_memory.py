"""Large pictures: named above the limit, decoded one after the other, and never twice in memory."""

from __future__ import annotations

import hashlib
import subprocess
import sys
import threading
import time
from pathlib import Path

import cv2
import numpy as np
import pytest
import tifffile
from PIL import Image

from sorter.checking.series import judge
from sorter.model.kinds import Kind
from sorter.model.measurement import FrameSource, PreviewSource, TooLarge
from sorter.pixels import decoded, memory, reduced
from sorter.pixels.decoded import HasTooMany, Undecodable, picture_digest
from sorter.pixels.measuring import Chain, joined, measure_frames
from sorter.pixels.memory import MoreThanAll, need_of, room
from sorter.pixels.reduced import COLOUR, GREY, grey
from sorter.pixels.store import restored, stored


def rough(width: int = 1600, height: int = 1200) -> np.ndarray:
    dice = np.random.default_rng(3).integers(0, 255, (height // 20, width // 20, 3))
    return cv2.resize(dice.astype(np.uint8), (width, height), interpolation=cv2.INTER_CUBIC)


def frame(path: Path, most: int = 250_000_000) -> FrameSource:
    return FrameSource(previews=(PreviewSource(path=str(path)),), most_pixels=most)


@pytest.fixture
def picture(tmp_path: Path) -> Path:
    path = tmp_path / "POOL0001.PNG"
    Image.fromarray(rough()).save(path)
    return path


# ---- the limit ----------------------------------------------------------------------------------


def test_a_picture_above_the_limit_is_named_and_not_decoded(
    picture: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    assert grey(frame(picture, 1_920_000))[0].ndim == 2
    monkeypatch.setattr(Image.Image, "tobytes", None)
    monkeypatch.setattr("PIL.ImageFile.ImageFile.load", None)
    with pytest.raises(HasTooMany, match="has 2 megapixels, more than 1; set most_megapixels in"):
        grey(frame(picture, 1_000_000))


def test_what_is_too_large_is_told_with_its_size_and_kept(picture: Path) -> None:
    chain = Chain()
    for most in (250_000_000, 1_000_000, 250_000_000):
        joined(chain, measure_frames((frame(picture, most),)))
    assert chain.measured.too_large == (TooLarge(index=1, pixels=1_920_000, most=1_000_000),)
    kept = restored(stored(chain.measured))
    assert kept is not None
    assert kept.too_large == chain.measured.too_large
    check = judge(kept, sequence=1, kind=Kind.BURST).check
    assert (check.unseen, check.too_large, check.megapixels) == ((2,), (2,), (2,))
    assert "Not looked at: 2 has 2 megapixels, more than 1; set most_megapixels" in check.says
    assert "Cannot be looked at" not in check.says


# ---- room ---------------------------------------------------------------------------------------


def test_what_needs_more_than_all_there_is_is_refused(
    picture: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(reduced, "BUDGET", 5_000_000)
    with pytest.raises(Undecodable, match=r"needs 0\.0 GB to be decoded, more than the 0\.0 GB"):
        grey(frame(picture))
    with pytest.raises(MoreThanAll), room(memory.BUDGET + 1):
        pass


def test_what_does_not_fit_waits_until_it_does() -> None:
    """Of three parts of two fifths two are there at a time."""
    inside: list[int] = []
    most: list[int] = []
    lock = threading.Lock()

    def work() -> None:
        with memory._OURS.take(memory.BUDGET * 2 // 5):  # noqa: SLF001
            with lock:
                inside.append(1)
                most.append(len(inside))
            time.sleep(0.05)
            with lock:
                inside.pop()

    threads = [threading.Thread(target=work) for _ in range(5)]
    for each in threads:
        each.start()
    for each in threads:
        each.join()
    assert max(most) == 2


def test_a_large_one_waits_for_that_of_another_process() -> None:
    """The other one says when it is in, and how long it stays."""
    program = (
        "import sys, time\nfrom sorter.pixels.memory import FREE, room\n"
        "with room(FREE + 1):\n    print('in', flush=True)\n    time.sleep(0.6)\n"
    )
    with subprocess.Popen([sys.executable, "-c", program], stdout=subprocess.PIPE) as other:  # noqa: S603
        assert other.stdout is not None
        assert other.stdout.readline().strip() == b"in"
        with room(memory.FREE):
            assert other.poll() is None, "a small one does not wait"
        start = time.monotonic()
        with room(memory.FREE + 1):
            assert time.monotonic() - start > 0.2


@pytest.mark.parametrize(("mode", "bytes_each"), [("L", 1), ("P", 1), ("RGB", 4), ("I;16", 2)])
def test_the_need_of_a_picture_is_what_pillow_takes(mode: str, bytes_each: int) -> None:
    assert need_of(Image.new(mode, (300, 200)), (300, 200), 0) == 60_000 * bytes_each


def test_a_progressive_jpeg_needs_its_coefficients(tmp_path: Path) -> None:
    """With chroma at a quarter there are one and a half samples a pixel, of two bytes each."""
    for name, progressive in (("POOL0001.JPG", False), ("POOL0002.JPG", True)):
        path = tmp_path / name
        Image.fromarray(rough()).save(path, subsampling="4:2:0", progressive=progressive)
        with Image.open(path) as opened:
            need = need_of(opened, opened.size, 0)
        assert need == 1600 * 1200 * (4 + 3 * progressive)


# ---- never twice --------------------------------------------------------------------------------


@pytest.mark.parametrize("mode", [GREY, COLOUR])
@pytest.mark.parametrize("kind", ["RGB", "L", "P", "I;16"])
def test_a_large_picture_made_small_in_strips_is_the_same(
    kind: str, mode: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Against the same picture made small at once."""
    whole = Image.fromarray(rough(2400, 1810))
    if kind == "I;16":
        whole = Image.fromarray(np.asarray(whole.convert("L")).astype(np.uint16) * 257)
    else:
        whole = whole.convert(kind)
    path = tmp_path / "POOL0001.PNG"
    whole.save(path)
    at_once = reduced.reduced(frame(path), mode)
    monkeypatch.setattr(reduced, "FREE", 0)
    monkeypatch.setattr(reduced, "STRIP", 250_000)
    in_strips = reduced.reduced(frame(path), mode)
    assert in_strips.samples.shape == at_once.samples.shape
    assert in_strips.scale == at_once.scale
    apart = np.abs(in_strips.samples.astype(int) - at_once.samples)
    assert apart.mean() < 1  # what is rounded twice
    assert apart.max() < 30


@pytest.mark.parametrize("compression", [None, "zlib"])
@pytest.mark.parametrize("rows", [7, 50, 1200])
@pytest.mark.parametrize("planar", ["contig", "separate"])
def test_the_digest_strip_by_strip_is_that_of_the_whole(
    planar: str, rows: int, compression: str | None, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """By tifffile, whose asarray has all of it."""
    monkeypatch.setattr(decoded, "_STRIP", 1000)
    samples = rough().astype(np.uint16) * 256
    samples = samples.transpose(2, 0, 1) if planar == "separate" else samples
    path = tmp_path / "pool.tif"
    tifffile.imwrite(
        path, samples, photometric="rgb", planarconfig=planar, rowsperstrip=rows,
        compression=compression, predictor=compression is not None,
    )  # fmt: skip
    whole = np.ascontiguousarray(tifffile.imread(path))
    assert picture_digest(path).sha256 == hashlib.sha256(whole.tobytes()).hexdigest()


@pytest.mark.parametrize("mode", ["RGB", "L", "1", "P", "RGBA"])
def test_the_digest_of_other_pictures_is_that_of_all_their_bytes(
    mode: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(decoded, "_STRIP", 100_000)
    path = tmp_path / "pool.png"
    Image.fromarray(rough(1604, 1200)).convert(mode).save(path)
    with Image.open(path) as opened:
        expected = hashlib.sha256(opened.tobytes()).hexdigest()
    assert picture_digest(path).sha256 == expected
