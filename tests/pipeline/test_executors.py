"""The executor that a caller hands in: other processes do what threads do, and a stop loses nothing."""

from __future__ import annotations

import itertools
import multiprocessing
import os
import shlex
import shutil
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from concurrent.futures import Executor, ProcessPoolExecutor, ThreadPoolExecutor
from pathlib import Path

import cv2
import numpy as np
import pytest

from handoff.tidal import FIRST, SECOND, results, stand_in, tidal_shoot
from pipeline.pools import Counting, card_of, run
from sorter.disk.permission import Permission, permission_to_work
from sorter.disk.shoot import Shoot
from sorter.errors import WorkersGone
from sorter.model.measurement import Measurement
from sorter.model.result import CommandRequest
from sorter.model.stack import StackRequest
from sorter.pipeline import Checked, Workers, check_card, check_shoot, merge, report
from sorter.pipeline.working import AHEAD, as_they_come, in_order
from sorter.pixels import measuring
from sorter.pixels.sharpness import measure
from sorter.pixels.threads import ONE_THREAD
from sorter.settings import Settings
from writing.cards import hold_consistent

JOBS = 2


def quiet(_done: int, _total: int) -> None:
    """Says nothing."""


class Told:
    """What a caller was told of how far the work is."""

    def __init__(self) -> None:
        self.steps: list[tuple[int, int]] = []

    def __call__(self, done: int, total: int) -> None:
        self.steps.append((done, total))


@pytest.fixture(scope="module")
def processes() -> Iterator[Executor]:
    """Two other processes that know nothing of this one."""
    with ProcessPoolExecutor(JOBS, multiprocessing.get_context("spawn")) as pool:
        yield pool


@pytest.fixture(scope="module")
def card(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return card_of(tmp_path_factory.mktemp("pool"))


@pytest.fixture(scope="module")
def carried(card: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("carried") / "shoot"
    assert run("ingest", card, folder, "--look") <= 1
    return folder


@pytest.fixture
def shoot(carried: Path, tmp_path: Path) -> Path:
    """A shoot of the test's own, that nothing has looked at."""
    return shutil.copytree(carried, tmp_path / "shoot")


@pytest.fixture(scope="module")
def by_threads(card: Path) -> Checked:
    return check_card(card, Settings(), Workers(jobs=JOBS), quiet, quiet)


# ---- the same ----------------------------------------------------------------------------------


def test_a_card_is_judged_alike(card: Path, by_threads: Checked, processes: Executor) -> None:
    workers = Workers(jobs=JOBS, executor=processes)
    assert check_card(card, Settings(), workers, quiet, quiet) == by_threads
    stacks = [each for each in by_threads.checks if each.verdict]
    assert len(stacks) == 2
    assert (stacks[0].dark, stacks[0].unseen) == ((5,), (9,))


def test_a_card_of_a_relative_path_is_judged_alike_in_processes_that_work_elsewhere(
    card: Path, by_threads: Checked, processes: Executor, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The processes were started before this one went to another folder."""
    monkeypatch.chdir(card.parent)
    workers = Workers(jobs=JOBS, executor=processes)
    assert check_card(Path("card"), Settings(), workers, quiet, quiet) == by_threads


def test_the_demo_card_is_judged_alike(demo_card: Path, processes: Executor) -> None:
    threads = Workers(jobs=JOBS)
    found = check_card(demo_card, Settings(), threads, quiet, quiet)
    other = Workers(jobs=JOBS, executor=processes)
    assert check_card(demo_card, Settings(), other, quiet, quiet) == found
    assert sum(each.verdict is not None for each in found.checks) == 10


def test_a_shoot_is_judged_and_drawn_alike(
    carried: Path, tmp_path: Path, processes: Executor
) -> None:
    """And what is kept of it is the same, byte by byte."""
    told: dict[str, Told] = {"threads": Told(), "processes": Told()}
    for name, executor in (("threads", None), ("processes", processes)):
        shoot = shutil.copytree(carried, tmp_path / name / "pool")
        found = report(shoot, Workers(jobs=JOBS, executor=executor), quiet, told[name])
        assert found.merges == 2
        assert list(found.unseen) == [
            path.relative_to(shoot).as_posix() for path in shoot.glob("*/IMG_0009.JPG")
        ]
        assert not (shoot / ".sorter" / "work").exists()
    first, second = (_files(tmp_path / name / "pool") for name in told)
    assert first == second
    assert len([name for name in first if name.startswith("report/pictures/merge")]) == 2
    for each in told.values():
        assert each.steps == sorted(each.steps)
        assert each.steps[-1] == (26, 26)


def _files(shoot: Path) -> dict[str, bytes]:
    """All files of the report, and what is kept of measuring and judging."""
    return {
        path.relative_to(shoot).as_posix(): path.read_bytes()
        for folder in (shoot / "report", shoot / ".sorter" / "looked")
        for path in folder.rglob("*")
        if path.is_file()
    }


def test_stacks_are_merged_alike(tmp_path: Path, processes: Executor) -> None:
    made, tide = {}, tidal_shoot(tmp_path / "tide")
    for name, executor in (("threads", None), ("processes", processes)):
        shoot = shutil.copytree(tide, tmp_path / name)
        told = Told()
        asked = CommandRequest(command=stand_in("average"), jobs=JOBS)
        outcome = merge(shoot, StackRequest(), asked, told, executor)
        assert [each.path for each in outcome.merged] == [row.destination for row in results(shoot)]
        assert told.steps == [(0, 2), (1, 2), (2, 2)]
        hold_consistent(shoot)
        made[name] = {row.destination: row.sha256 for row in results(shoot)}
    assert made["threads"] == made["processes"]
    assert len(made["threads"]) == 2


# ---- a stop ------------------------------------------------------------------------------------

SLOW_FOR_THE_SECOND = """
import subprocess, sys, time
from pathlib import Path
from PIL import Image
result, name, frame = sys.argv[1:4]
begun = Path(sys.argv[0]).with_name("begun")
if name.startswith("0002"):
    child = subprocess.Popen([sys.executable, "-c", "import time; time.sleep(60)"])
    begun.with_suffix(".part").write_text(str(child.pid))
    begun.with_suffix(".part").rename(begun)
    child.wait()
while not begun.exists():
    time.sleep(0.01)
Image.open(frame).save(result)
"""


@pytest.mark.parametrize("where", ["threads", "processes"])
def test_a_stop_ends_the_running_programs_wherever_they_run(
    where: str, tmp_path: Path, processes: Executor
) -> None:
    shoot = tidal_shoot(tmp_path / "tide")
    program = tmp_path / "slow.py"
    program.write_text(SLOW_FOR_THE_SECOND)
    command = f"{shlex.join([sys.executable, str(program)])} {{result}} {{name}} {{frames}}"

    def stopped(done: int, _total: int) -> None:
        if done:
            raise KeyboardInterrupt

    asked = CommandRequest(command=command, jobs=JOBS)
    executor = processes if where == "processes" else None
    began = time.monotonic()
    with pytest.raises(KeyboardInterrupt):
        merge(shoot, StackRequest(), asked, stopped, executor)
    assert time.monotonic() - began < 30
    assert not _is_alive(int((tmp_path / "begun").read_text()))
    assert len(results(shoot)) == 1, "what was merged before is kept"
    assert not (shoot / ".sorter" / "work").exists()
    asked = CommandRequest(command=stand_in("average"), jobs=JOBS)
    assert len(merge(shoot, StackRequest(), asked, quiet, executor).merged) == 2
    hold_consistent(shoot)


def _is_alive(pid: int) -> bool:
    try:
        return Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()[0] != "Z"
    except FileNotFoundError:
        return False


HOST = """
import multiprocessing, sys
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path
from sorter.model.result import CommandRequest
from sorter.model.stack import StackRequest
from sorter.pipeline import merge
if __name__ == "__main__":
    with ProcessPoolExecutor(2, multiprocessing.get_context("spawn")) as pool:
        asked = CommandRequest(command=sys.argv[2], jobs=2)
        merge(Path(sys.argv[1]), StackRequest(), asked, lambda *_: None, pool)
"""


def test_ctrl_c_in_a_terminal_ends_what_the_processes_of_a_pool_run(tmp_path: Path) -> None:
    """The terminal tells the host and the pool's processes; the programs have sessions of their own."""
    shoot = tidal_shoot(tmp_path / "tide")
    host = tmp_path / "host.py"
    host.write_text(HOST)
    logs = [shoot / ".sorter" / "logs" / f"{name}.log" for name in (FIRST, SECOND)]
    with subprocess.Popen(  # noqa: S603  our own program
        [sys.executable, str(host), str(shoot), stand_in("hang with a child")],
        stderr=subprocess.DEVNULL,
        start_new_session=True,
        preexec_fn=lambda: signal.signal(signal.SIGINT, signal.default_int_handler),  # noqa: PLW1509
    ) as process:
        until = time.monotonic() + 60
        while not all(map(_has_begun, logs)) and time.monotonic() < until:
            time.sleep(0.05)
        children = [int(log.read_text().rpartition("child ")[2]) for log in logs]
        assert all(map(_is_alive, children))
        os.killpg(process.pid, signal.SIGINT)
        process.wait(60)
    assert process.returncode != 0
    assert not any(map(_is_alive, children))
    assert (
        merge(shoot, StackRequest(), CommandRequest(command=stand_in("average")), quiet).failed
        == ()
    )
    assert len(results(shoot)) == 2


def _has_begun(log: Path) -> bool:
    text = log.read_text() if log.exists() else ""
    return "child " in text.rpartition("frames")[2] and text.endswith("\n")


@pytest.mark.parametrize("where", ["threads", "processes"])
def test_a_stopped_look_goes_on_where_it_was(
    where: str, shoot: Path, processes: Executor, monkeypatch: pytest.MonkeyPatch
) -> None:
    executor = processes if where == "processes" else None
    workers = Workers(jobs=1, executor=executor)

    def stopped(done: int, _total: int) -> None:
        if done > 14:
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        check_shoot(shoot, workers, stopped)
    kept = list((shoot / ".sorter" / "looked").iterdir())
    assert kept, "what was measured is kept"
    whole = shutil.copytree(shoot, shoot.with_name("whole"))
    assert check_shoot(shoot, workers, quiet) == check_shoot(whole, Workers(), quiet)
    monkeypatch.setattr(measuring, "grey", None)  # nothing is decoded any more
    assert check_shoot(shoot, Workers(), quiet) == check_shoot(whole, Workers(), quiet)


@pytest.mark.parametrize("where", ["threads", "processes"])
def test_a_stopped_report_is_drawn_to_its_end_by_the_next(
    where: str, shoot: Path, processes: Executor
) -> None:
    workers = Workers(jobs=JOBS, executor=processes if where == "processes" else None)

    def stopped(done: int, _total: int) -> None:
        if done:
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        report(shoot, workers, quiet, stopped)
    assert not (shoot / "report" / "index.html").exists()
    assert not (shoot / ".sorter" / "work").exists()
    drawn = {path: path.stat().st_mtime_ns for path in (shoot / "report" / "pictures").iterdir()}
    assert drawn
    assert report(shoot, workers, quiet, quiet).merges == 2
    assert {path: path.stat().st_mtime_ns for path in drawn} == drawn


def _holds(permission: Permission) -> bool:
    return permission.holds


def test_leave_that_is_withdrawn_is_seen_in_another_process(
    tmp_path: Path, processes: Executor
) -> None:
    with permission_to_work(Shoot(tmp_path)) as permission:
        assert (processes.submit(_holds, permission).result(), _holds(permission)) == (True, True)
    assert (processes.submit(_holds, permission).result(), _holds(permission)) == (False, False)
    assert not (tmp_path / ".sorter" / "work").exists()


# ---- so much at a time -------------------------------------------------------------------------


def test_a_shoot_is_not_handed_over_all_at_once(shoot: Path) -> None:
    with Counting(JOBS) as counting:
        workers = Workers(jobs=JOBS, executor=counting)
        check_shoot(shoot, workers, quiet)
        assert counting.most <= 2 * JOBS * AHEAD, "some to measure, and some to judge"
        assert counting.tasks > counting.most
        counting.most = 0
        report(shoot, workers, quiet, quiet)
        assert 0 < counting.most <= JOBS * AHEAD


def test_no_more_programs_run_than_are_asked_for(tmp_path: Path) -> None:
    shoot = tidal_shoot(tmp_path)
    with Counting(4) as counting:
        merge(
            shoot,
            StackRequest(),
            CommandRequest(command=stand_in("average"), jobs=1),
            quiet,
            counting,
        )
        assert (counting.tasks, counting.most) == (2, 1)


def test_what_is_not_begun_is_cancelled_and_what_is_is_awaited() -> None:
    done: list[int] = []
    ended: list[str] = []

    def work(number: int) -> int:
        time.sleep(0.05)
        done.append(number)
        return number

    with ThreadPoolExecutor(1) as threads:
        coming = as_they_come(threads, work, range(100), 50, lambda: ended.append("told"))
        assert next(coming)[1] == 0
        coming.close()
        known = list(done)
        time.sleep(0.2)
        assert done == known, "nothing is done behind the caller's back"
    assert ended == ["told"]
    assert len(done) < 5


def test_outcomes_come_in_order_and_a_failure_stops_the_rest() -> None:
    def work(number: int) -> int:
        time.sleep(0.01 * (3 - number % 3))
        if number == 7:
            raise OSError(number)
        return number

    with ThreadPoolExecutor(3) as threads:
        assert list(in_order(threads, work, range(6), 4)) == list(range(6))
        coming = in_order(threads, work, range(50), 4)
        assert list(itertools.islice(coming, 7)) == list(range(7))
        with pytest.raises(OSError, match="7"):
            next(coming)
        assert list(coming) == []


def test_a_process_that_was_ended_is_said_so(card: Path) -> None:
    with ProcessPoolExecutor(1, multiprocessing.get_context("spawn")) as pool:
        dying = pool.submit(os._exit, 1)
        assert dying.exception() is not None
        with pytest.raises(WorkersGone, match="run it again"):
            check_card(card, Settings(), Workers(jobs=1, executor=pool), quiet, quiet)


# ---- a host's own settings ---------------------------------------------------------------------


def test_opencv_s_threads_are_the_host_s_again(shoot: Path, card: Path) -> None:
    before = cv2.getNumThreads()
    seen: list[int] = []
    try:
        cv2.setNumThreads(3)
        check_card(card, Settings(), Workers(jobs=JOBS), quiet, quiet)
        assert cv2.getNumThreads() == 3
        report(shoot, Workers(jobs=JOBS), quiet, quiet)
        assert cv2.getNumThreads() == 3
        with ONE_THREAD, ONE_THREAD:
            seen.append(cv2.getNumThreads())
        assert cv2.getNumThreads() == 3
        with pytest.raises(ZeroDivisionError), ONE_THREAD:
            raise ZeroDivisionError
        assert (seen, cv2.getNumThreads()) == ([1], 3)
    finally:
        cv2.setNumThreads(before)


def test_work_is_done_on_one_thread_each(card: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    before, seen = cv2.getNumThreads(), set()

    def noting(plain: np.ndarray, scale: float) -> Measurement:
        seen.add(cv2.getNumThreads())
        return measure(plain, scale)

    monkeypatch.setattr(measuring, "measure", noting)
    try:
        cv2.setNumThreads(3)
        check_card(card, Settings(), Workers(jobs=JOBS), quiet, quiet)
    finally:
        cv2.setNumThreads(before)
    assert seen == {1}
