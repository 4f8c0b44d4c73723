"""Programs run for stacks: their ends, their children, their limits. Real processes."""

from __future__ import annotations

import os
import sys
import threading
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from sorter.disk.permission import Permission, permission_to_work
from sorter.disk.shoot import Shoot
from sorter.handoff.running import run

SLEEPS = "import time; time.sleep(60)"
# Says which process its child is, and waits for it.
WITH_CHILD = (
    "import subprocess, sys; c = subprocess.Popen([sys.executable, '-c', 'import time; "
    "time.sleep(60)']); print(c.pid, flush=True); c.wait()"
)
DEAF = "import signal, time; signal.signal(signal.SIGTERM, signal.SIG_IGN); print('deaf', flush=True); time.sleep(60)"


@pytest.fixture
def permission(tmp_path: Path) -> Iterator[Permission]:
    with permission_to_work(Shoot(tmp_path)) as given:
        yield given


def python(source: str) -> list[str]:
    return [sys.executable, "-c", source]


def is_alive(pid: int) -> bool:
    """By what the system says of the process; one that has ended and is not waited for is none."""
    try:
        return "Z" not in Path(f"/proc/{pid}/stat").read_text().split(")")[1].split()[0]
    except FileNotFoundError:
        return False


def logged(path: Path, least: int = 1) -> str:
    """What stands in the log, once so much does."""
    until = time.monotonic() + 20
    while path.stat().st_size < least and time.monotonic() < until:
        time.sleep(0.01)
    return path.read_text()


def test_an_exit_code_and_both_outputs_come_back(tmp_path: Path, permission: Permission) -> None:
    source = "import sys; print('tide'); print('ebb', file=sys.stderr, flush=True); sys.exit(7)"
    with (tmp_path / "log").open("wb") as log:
        ended = run(python(source), log, permission)
    assert (ended.code, ended.late, ended.stopped) == (7, False, False)
    assert sorted((tmp_path / "log").read_text().split()) == ["ebb", "tide"]


def test_much_output_fills_no_pipe(tmp_path: Path, permission: Permission) -> None:
    with (tmp_path / "log").open("wb") as log:
        ended = run(python("print('splash ' * 3_000_000)"), log, permission)
    assert ended.code == 0
    assert (tmp_path / "log").stat().st_size == 21_000_001


def test_no_input_is_waited_for(tmp_path: Path, permission: Permission) -> None:
    with (tmp_path / "log").open("wb") as log:
        assert run(python("input()"), log, permission, limit_s=20).code == 1


def test_the_time_limit_ends_it_and_its_children(tmp_path: Path, permission: Permission) -> None:
    with (tmp_path / "log").open("wb") as log:
        ended = run(python(WITH_CHILD), log, permission, limit_s=3.0)
    assert ended.late
    assert ended.code != 0
    assert not is_alive(int(logged(tmp_path / "log")))


def test_a_program_that_does_not_listen_is_killed(tmp_path: Path, permission: Permission) -> None:
    with (tmp_path / "log").open("wb") as log:
        ended = run(python(DEAF), log, permission, limit_s=3.0)
    assert (ended.late, ended.code) == (True, -9)


def test_stop_ends_all_and_lets_none_begin(tmp_path: Path, permission: Permission) -> None:
    log = tmp_path / "log"
    ends = []
    with log.open("wb") as file:
        thread = threading.Thread(
            target=lambda: ends.append(run(python(WITH_CHILD), file, permission))
        )
        thread.start()
        child = int(logged(log))
        assert is_alive(child)
        permission.withdraw()
        thread.join(20)
        assert run(python(SLEEPS), file, permission).stopped
    assert ends[0].stopped
    assert not is_alive(child)


def test_children_left_behind_are_ended_too(tmp_path: Path, permission: Permission) -> None:
    source = WITH_CHILD.replace("; c.wait()", "")
    with (tmp_path / "log").open("wb") as log:
        assert run(python(source), log, permission).code == 0
    assert not is_alive(int(logged(tmp_path / "log")))
    assert is_alive(os.getpid())
