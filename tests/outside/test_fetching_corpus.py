"""Fetching the corpus, without a registry: what is unpacked, when nothing is done, what is said."""

from __future__ import annotations

import io
import os
import subprocess
import sys
import tarfile
import zipfile
from pathlib import Path

import pytest

from corpusmaking import fetching
from corpusmaking.fetching import FetchError, complete, fetch, main, stamp_of
from corpusmaking.sources import FOLDERS, STAMP
from corpusmaking.unpacking import unpack, wrap
from outside import corpus
from reading.builders import TIME, app1, builder, exif_tiff

MEMBERS = {
    "pool-1.0/t/images/limpet.jpg": b"limpet",
    "pool-1.0/t/images/low/barnacle.jpg": b"barnacle",
    "pool-1.0/t/other/splash.jpg": b"not asked for",
    "pool-1.0/t/images/../../../away.jpg": b"leads out",
}


def taped(path: Path) -> Path:
    with tarfile.open(path, "w:gz") as tape:
        for name, data in MEMBERS.items():
            member = tarfile.TarInfo(name)
            member.size = len(data)
            tape.addfile(member, io.BytesIO(data))
    return path


def zipped(path: Path) -> Path:
    with zipfile.ZipFile(path, "w") as archive:
        for name, data in MEMBERS.items():
            archive.writestr(name, data)
    return path


def made(folder: Path) -> Path:
    """A corpus that is complete, as far as can be seen."""
    for name in FOLDERS:
        (folder / name).mkdir(parents=True)
    stamp_of(folder).write_text(STAMP)
    return folder


@pytest.mark.parametrize("kind", ["tar", "zip"])
def test_only_the_folder_that_was_asked_for_is_unpacked(tmp_path: Path, kind: str) -> None:
    path = tmp_path / f"pool.{kind}"
    archive = taped(path) if kind == "tar" else zipped(path)
    assert unpack(archive, "t/images", tmp_path / "out") == 2
    found = {path.relative_to(tmp_path / "out").as_posix(): path.read_bytes()
             for path in (tmp_path / "out").rglob("*.jpg")}  # fmt: skip
    assert found == {"limpet.jpg": b"limpet", "low/barnacle.jpg": b"barnacle"}
    assert not (tmp_path / "away.jpg").exists()


def test_bare_metadata_are_wrapped_up_as_a_jpeg_that_can_be_read(tmp_path: Path) -> None:
    bare = tmp_path / "bare"
    bare.mkdir()
    segment = app1(exif_tiff(exif=[TIME]))
    (bare / "limpet.exv").write_bytes(b"\xff\x01Exiv2" + segment + b"\xff\xd9")
    (bare / "text.exv").write_bytes(b"<?xpacket")
    assert wrap(bare, tmp_path / "wrapped") == 1
    data = (tmp_path / "wrapped" / "limpet.jpg").read_bytes()
    assert data == b"\xff\xd8" + segment + b"\xff\xd9"
    assert builder(data).built().moment is not None


def test_a_corpus_that_is_complete_is_left_alone(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(fetching, "fetch", lambda _: pytest.fail("it was fetched again"))
    folder = made(tmp_path / "corpus")
    assert main(["--folder", str(folder)]) == 0
    assert capsys.readouterr().out == f"{folder} is complete\n"


def test_it_is_complete_only_with_all_folders_and_these_versions(tmp_path: Path) -> None:
    folder = made(tmp_path / "corpus")
    assert complete(folder)
    (folder / FOLDERS[0]).rmdir()
    assert not complete(folder)
    (folder / FOLDERS[0]).mkdir()
    stamp_of(folder).write_text(STAMP.replace("12.57", "12.56"))
    assert not complete(folder)


def test_a_folder_with_something_else_in_it_is_refused(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "tides.txt").write_text("low at 13:02")
    assert main(["--folder", str(tmp_path)]) == 1
    assert "holds tides.txt" in capsys.readouterr().err
    assert (tmp_path / "tides.txt").exists()


def programs(folder: Path, script: str) -> str:
    """A path on which apt-get is this script."""
    (folder / "apt-get").write_text(f"#!/bin/sh\n{script}\n")
    (folder / "apt-get").chmod(0o755)
    return f"{folder}:{os.environ['PATH']}"


def test_a_registry_out_of_reach_is_said_and_leaves_nothing_behind(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "bin").mkdir()
    path = programs(tmp_path / "bin", "echo 'E: could not connect' >&2; exit 100")
    monkeypatch.setenv("PATH", path)
    monkeypatch.setattr(fetching, "KEYS", str(Path(__file__)))
    with pytest.raises(FetchError, match="could not be fetched") as caught:
        fetch(tmp_path / "build" / "corpus")
    assert "is the registry within reach" in str(caught.value)
    assert "E: could not connect" in str(caught.value)
    assert list((tmp_path / "build").iterdir()) == []


def test_without_apt_get_it_says_what_to_do(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("PATH", str(tmp_path))
    with pytest.raises(FetchError, match="run this on Debian or Ubuntu"):
        fetch(tmp_path / "corpus")


def test_help_has_an_example() -> None:
    told = subprocess.run(
        [sys.executable, "-m", "corpusmaking.fetching", "--help"],
        check=True, capture_output=True, text=True, env={**os.environ, "PYTHONPATH": "scripts"},
        cwd=corpus.ROOT,
    )  # fmt: skip
    assert "example:\n  scripts/fetch_corpus\n" in told.stdout


# ---- what the tests do without it ---------------------------------------------------------------


def test_without_the_corpus_the_tests_are_skipped_aloud(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(corpus, "FOLDER", tmp_path / "none")
    monkeypatch.delenv("CI", raising=False)
    with pytest.raises(pytest.skip.Exception, match="run scripts/fetch_corpus"):
        corpus.need()


def test_without_the_corpus_the_tests_fail_where_ci_runs(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(corpus, "FOLDER", tmp_path / "none")
    monkeypatch.setenv("CI", "1")
    with pytest.raises(pytest.fail.Exception, match="run scripts/fetch_corpus"):
        corpus.need()
