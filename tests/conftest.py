"""What all tests share: no test sees the user's home, settings, time zone or terminal."""

from __future__ import annotations

import itertools
import os
import re
import signal
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Generator, Iterator
from pathlib import Path
from typing import Any

import pytest

import folders
import sharing
import tides
from examples import Asked
from faults import deciding
from faults.sampling import Cuts
from keeping import kept

# There is a worker for each processor already; threads of one that wait for each other in a loop take
# half of the others' time. Said before numpy is loaded.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

# Bytecode is kept, whatever the shell says: else each worker would rewrite every module of tests, and each
# of the hundreds of processes that tests start would compile every module anew.
os.environ["PYTHONDONTWRITEBYTECODE"] = ""
sys.dont_write_bytecode = False

ROOT = Path(__file__).parents[1]
MAKER = ROOT / "scripts" / "make_demo_card"
MAKERS = [MAKER, *MAKER.parent.glob("cardmaking/*.py")]


def pytest_addoption(parser: pytest.Parser) -> None:
    parser.addoption(
        "--write-golden",
        action="store_true",
        help="write the golden files anew from what the code says now; then read the difference",
    )
    deciding.add_options(parser)


def pytest_configure(config: pytest.Config) -> None:
    deciding.decide(config)
    folders.place(config)
    Asked.thorough = config.option.thorough
    # A shell has what it starts in the background ignore Ctrl-C, and each child would do as we do.
    if signal.getsignal(signal.SIGINT) is signal.SIG_IGN:
        signal.signal(signal.SIGINT, signal.default_int_handler)


@pytest.hookimpl(optionalhook=True)
def pytest_configure_node(node: Any) -> None:  # noqa: ANN401  xdist has no types
    node.workerinput[deciding.MADE] = deciding.told_to_a_worker(node.config)


def pytest_report_header(config: pytest.Config) -> str:
    return deciding.head(config)


def pytest_terminal_summary(
    terminalreporter: pytest.TerminalReporter, exitstatus: int, config: pytest.Config
) -> None:
    made = sum(map(deciding.made_by, terminalreporter.getreports("passed")))
    well = exitstatus == pytest.ExitCode.OK
    terminalreporter.write_line(deciding.ended(config, made, well=well))


@pytest.hookimpl(wrapper=True)
def pytest_runtest_makereport(
    item: pytest.Item,
) -> Generator[None, pytest.TestReport, pytest.TestReport]:
    """A test that fails in what it made of chance says how it is made again."""
    report = yield
    if report.failed and "cuts" in getattr(item, "fixturenames", ()):
        report.sections.append((deciding.MADE, deciding.head(item.config)))
    return report


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """The longest first: the last of them alone would keep one processor waiting."""
    items.sort(key=lambda item: sharing.place_of(item.nodeid))


@pytest.hookimpl(optionalhook=True)
def pytest_xdist_auto_num_workers() -> int:
    return (os.cpu_count() or 1) + sharing.MORE


@pytest.hookimpl(optionalhook=True)
def pytest_xdist_make_scheduler(config: pytest.Config, log: Any) -> Any:  # noqa: ANN401  xdist has no types
    """Units of tests in place of modules, where modules were asked for."""
    if config.getoption("dist") != "loadscope":
        return None
    from xdist.scheduler import LoadScopeScheduling  # type: ignore[import-untyped]  # noqa: PLC0415

    scheduler = LoadScopeScheduling(config, log)
    scheduler._split_scope = sharing.unit_of  # noqa: SLF001  as its documentation has it
    return scheduler


@pytest.fixture(scope="session")
def _homes(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Path]:
    """A new and empty home at each step: to have pytest name thousands takes milliseconds for each."""
    folder = tmp_path_factory.mktemp("homes")
    return (folder / f"home{number}" for number in itertools.count())


@pytest.fixture(scope="session")
def _disk(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Path]:
    """A folder on the disk, wherever the others lie."""
    if folders.MEMORY not in tmp_path_factory.getbasetemp().parents:
        yield tmp_path_factory.mktemp("disk")
        return
    with tempfile.TemporaryDirectory(
        prefix="tests", dir=folders.DISK, ignore_cleanup_errors=True
    ) as folder:
        yield Path(folder)


@pytest.fixture(scope="session")
def _folders(
    tmp_path_factory: pytest.TempPathFactory, _disk: Path
) -> Callable[[pytest.Item], Path]:
    """A name for a new folder for each test."""
    usual, numbers = tmp_path_factory.mktemp("tests"), itertools.count()

    def of(test: pytest.Item) -> Path:
        name = re.sub(r"[^A-Za-z0-9_]", "_", test.name)[:30]
        return (_disk if folders.is_on_disk(test.nodeid) else usual) / f"{name}{next(numbers)}"

    return of


@pytest.fixture
def tmp_path(request: pytest.FixtureRequest, _folders: Callable[[pytest.Item], Path]) -> Path:
    """As pytest's own, which looks through those of all tests before it for each."""
    (folder := _folders(request.node)).mkdir(mode=0o700)
    return folder


@pytest.fixture(autouse=True)
def _alone(monkeypatch: pytest.MonkeyPatch, _homes: Iterator[Path]) -> None:
    (home := next(_homes)).mkdir()
    for name in ("HOME", "USERPROFILE", "XDG_CONFIG_HOME", "XDG_CACHE_HOME", "APPDATA"):
        monkeypatch.setenv(name, str(home))
    for name in ("FORCE_COLOR", "NO_COLOR", "PYTHONIOENCODING", "LINES"):
        monkeypatch.delenv(name, raising=False)
    monkeypatch.setenv("COLUMNS", "80")
    monkeypatch.setenv("TERM", "xterm-256color")
    monkeypatch.setenv("TZ", "UTC")
    time.tzset()


# What the fixtures of tides.py stand on, wherever one of them is taken.
tide_home = tides.tide_home
linkless_card = tides.linkless_card
new_shoot = tides.new_shoot


@pytest.fixture
def golden(request: pytest.FixtureRequest) -> Callable[[Path, bytes], None]:
    """Holds bytes against a golden file beside the test; writes it where that was asked for."""

    def compare(path: Path, found: bytes) -> None:
        if request.config.getoption("--write-golden"):
            path.parent.mkdir(exist_ok=True)
            path.write_bytes(found)
        assert found == path.read_bytes(), f"{path.name} differs; see --write-golden"

    return compare


@pytest.fixture
def cuts(request: pytest.FixtureRequest) -> Cuts:
    """Which of all cuts and kills this run makes."""
    request.node.user_properties.append((deciding.MADE, True))
    return deciding.cuts_of(request.config)


@pytest.fixture(scope="session")
def demo_card() -> Path:
    """The demo card, made once and kept; its truth table lies beside it. To be read, never changed."""
    return kept("demo-card", MAKERS, _demo_card) / "card"


@pytest.fixture(scope="session")
def demo_shoot(demo_card: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The demo card carried into a shoot, as its user does it. To be read or copied, never changed."""
    shoot = tmp_path_factory.mktemp("carried") / "demo"
    _sorter("ingest", demo_card, shoot)  # one file of it is empty: carried, and named
    return shoot


@pytest.fixture(scope="session")
def demo_report(demo_card: Path) -> Path:
    """Such a shoot with its report, made once and kept as long as the sorter is the same. To be copied only.

    What was measured and drawn is known by the pictures' contents: copied into another shoot of the same
    card, it is taken from there.
    """

    def make(folder: Path) -> None:
        _sorter("ingest", demo_card, folder / "rock-pool")
        _sorter("report", folder / "rock-pool")

    code = [path for path in (ROOT / "sorter").rglob("*") if path.is_file()]
    sources = [path for path in code if path.parent.name != "__pycache__"]
    return kept("demo-report", [*MAKERS, *sources], make) / "rock-pool"


def _sorter(*words: str | Path) -> None:
    command = [sys.executable, "-m", "sorter", *map(str, words)]
    done = subprocess.run(command, check=False, capture_output=True, cwd=ROOT)  # noqa: S603  our own program
    assert done.returncode == 0, done.stderr


def _demo_card(folder: Path) -> None:
    command = [sys.executable, str(MAKER), str(folder / "card")]
    subprocess.run(command, check=True, stdout=subprocess.DEVNULL)  # noqa: S603  our own program
