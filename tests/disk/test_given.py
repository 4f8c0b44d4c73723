"""What is read of whatever a user names: pipes, devices and sizes as pipe(7), fifo(7) and null(4) have them."""

from __future__ import annotations

import errno
import os
import socket
import subprocess
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

import pytest

from sorter.disk import given
from sorter.disk.given import read_given
from sorter.disk.workplace import read_whole

MOST = 3_000_000
TIDE = b"low tide at 13:40\n"


@pytest.fixture
def pipe(tmp_path: Path) -> Path:
    path = tmp_path / "pipe"
    os.mkfifo(path)
    return path


@contextmanager
def written(pipe: Path, *pieces: bytes, pause: float = 0.0) -> Iterator[None]:
    """Somebody opens the pipe after the pause, and writes the pieces with the pause between."""

    def write() -> None:
        time.sleep(pause)
        with suppress(BrokenPipeError), pipe.open("wb", buffering=0) as file:
            for piece in pieces:
                file.write(piece)
                time.sleep(pause)

    writer = threading.Thread(target=write)
    writer.start()
    yield
    writer.join()


def refused(path: Path, most: int = MOST) -> str:
    with pytest.raises(OSError) as caught:  # noqa: PT011  its words are what is tested
        read_given(path, most)
    return str(caught.value.strerror)


@pytest.mark.parametrize("size", [0, 1, len(TIDE), MOST])
def test_a_file_is_read_whole(tmp_path: Path, size: int) -> None:
    data = (TIDE * (size // len(TIDE) + 1))[:size]
    (tmp_path / "tide.csv").write_bytes(data)
    assert read_given(tmp_path / "tide.csv", MOST) == data


def test_a_link_to_a_file_is_followed(tmp_path: Path) -> None:
    (tmp_path / "tide.csv").write_bytes(TIDE)
    (tmp_path / "link.csv").symlink_to("tide.csv")
    assert read_given(tmp_path / "link.csv", MOST) == TIDE


@pytest.mark.parametrize("size", [MOST + 1, 5_000_000_000])
def test_a_longer_file_is_refused_unread(tmp_path: Path, size: int) -> None:
    with (tmp_path / "tide.csv").open("wb") as file:
        file.truncate(size)
    assert refused(tmp_path / "tide.csv") == "it is longer than 3 MB: name another file"


def test_a_file_that_does_not_tell_its_size_is_read() -> None:
    path = Path("/proc/self/status")
    if not path.exists():
        pytest.skip("files that tell no size are Linux's /proc")
    assert path.stat().st_size == 0
    assert read_given(path, MOST).startswith(b"Name:")
    assert refused(path, 100).startswith("it is longer than")


def test_what_is_not_there_or_no_file_is_told_in_the_systems_words(tmp_path: Path) -> None:
    assert refused(tmp_path / "none.csv") == os.strerror(errno.ENOENT)
    assert refused(tmp_path) == os.strerror(errno.EISDIR)
    (tmp_path / "round.csv").symlink_to("round.csv")
    assert refused(tmp_path / "round.csv") == os.strerror(errno.ELOOP)


@pytest.mark.parametrize("device", ["/dev/zero", "/dev/random", "/dev/urandom", "/dev/full", "/dev/tty"])  # fmt: skip
def test_a_device_is_not_opened(device: str, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(os, "open", lambda *_: pytest.fail("opening a device may do something"))
    assert refused(Path(device)) == "it is a device: name a file or a pipe"


def test_the_null_device_is_an_empty_file() -> None:
    assert read_given(Path(os.devnull), MOST) == b""


def test_a_socket_is_refused(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)  # the name of a socket may have a hundred bytes
    with socket.socket(socket.AF_UNIX) as one:
        one.bind("pool")
        assert refused(Path("pool")) == "it is a socket: name a file or a pipe"


@pytest.mark.parametrize("pause", [0.0, 0.2])
def test_a_pipe_is_read_to_its_end(pipe: Path, pause: float) -> None:
    with written(pipe, TIDE, b"", TIDE, pause=pause):
        assert read_given(pipe, MOST) == TIDE * 2


def test_a_pipe_takes_more_than_it_holds_at_a_time(pipe: Path) -> None:
    data = os.urandom(MOST)
    with written(pipe, data):
        assert read_given(pipe, MOST) == data


def test_a_pipe_that_gives_too_much_is_left(pipe: Path) -> None:
    with written(pipe, bytes(MOST + 1)):
        assert refused(pipe) == "it is longer than 3 MB: name another file"


def test_a_pipe_to_which_nobody_writes_is_left(pipe: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(given, "NOBODY_S", 0.3)
    begun = time.monotonic()
    assert refused(pipe) == "it is a pipe to which nobody wrote for 0.3 s: name a file"
    assert 0.3 <= time.monotonic() - begun < 5


@pytest.mark.parametrize("said", [b"", TIDE], ids=["silent", "not ended"])
def test_a_pipe_that_does_not_end_is_left(
    pipe: Path, said: bytes, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(given, "NOBODY_S", 0.2)
    monkeypatch.setattr(given, "LONGEST_S", 0.6)
    keeping = os.open(pipe, os.O_RDWR)
    os.write(keeping, said)
    begun = time.monotonic()
    assert refused(pipe) == (
        "it is a pipe that did not end within 0.6 s: let its writer make a file, and name that"
    )
    assert 0.6 <= time.monotonic() - begun < 5
    os.close(keeping)


def test_an_unnamed_pipe_that_ended_is_what_it_held(monkeypatch: pytest.MonkeyPatch) -> None:
    if not Path("/dev/fd").exists():
        pytest.skip("this system gives open files no names")
    monkeypatch.setattr(given, "NOBODY_S", 5.0)
    for said in (b"", TIDE):
        end, start = os.pipe()
        os.write(start, said)
        os.close(start)
        begun = time.monotonic()
        assert read_given(Path(f"/dev/fd/{end}"), MOST) == said
        assert time.monotonic() - begun < 2
        os.close(end)


def test_the_memory_for_an_endless_pipe_is_bounded() -> None:
    yes = subprocess.Popen(["yes"], stdout=subprocess.PIPE)  # noqa: S607  a tool of the system
    assert yes.stdout is not None
    with yes.stdout as end:
        assert refused(Path(f"/dev/fd/{end.fileno()}")).startswith("it is longer than 3 MB")
    yes.wait()


def test_a_result_that_no_tiff_can_be_is_refused_unread(tmp_path: Path) -> None:
    with (tmp_path / "stack.tif").open("wb") as file:
        file.truncate(5_000_000_000)
    with pytest.raises(OSError, match="longer than 4 GiB"):
        read_whole(tmp_path / "stack.tif")
