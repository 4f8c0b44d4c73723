"""Which cuts and kills a run makes: a fair sample by its seed, and all where what they are about changed."""

from __future__ import annotations

import hashlib
import os
import re
import subprocess
import sys
from argparse import Namespace
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import cast

import pytest

from faults import deciding, sampling
from faults.cuts import halving
from faults.imports import ROOT, needed_by
from faults.sampling import SHARE, Cuts, changed, digests, note

SOME = Cuts(seed=17, every=False)
ALL = Cuts(seed=17, every=True)


@pytest.mark.parametrize("count", [15, 16, 40, 131, 5000])
def test_a_sample_has_both_ends_and_one_of_each_part(count: int) -> None:
    for seed in range(50):
        points = Cuts(seed=seed, every=False).points(count, "copy")
        assert (points[0], points[-1]) == (1, count)
        assert len(points) == SHARE + 2
        assert sorted(set(points)) == points
        parts = [(point - 2) * SHARE // (count - 2) for point in points[1:-1]]
        assert all(abs(part - place) <= 1 for place, part in enumerate(parts)), points


@pytest.mark.parametrize("count", [1, 2, 3, SHARE + 2])
def test_of_few_points_all_are_tried(count: int) -> None:
    assert list(SOME.points(count)) == list(range(1, count + 1))


def test_every_point_comes_in_some_sample() -> None:
    samples = [Cuts(seed=seed, every=False).points(60, "move") for seed in range(200)]
    assert {point for points in samples for point in points} == set(range(1, 61))


def test_a_seed_gives_its_sample_again_and_another_one_another() -> None:
    again = Cuts(seed=17, every=False)
    assert SOME.points(131, "copy") == again.points(131, "copy")
    assert SOME.points(131, "copy") != SOME.points(131, "move")
    assert SOME.points(131, "copy") != Cuts(seed=18, every=False).points(131, "copy")
    assert SOME.some("abcdefgh", 3) == again.some("abcdefgh", 3)


def test_all_are_all() -> None:
    assert list(ALL.points(131, "copy")) == list(range(1, 132))
    assert ALL.some("abcdefgh", 3) == list("abcdefgh")
    assert len(SOME.some("abcdefgh", 3)) == 3


@pytest.mark.parametrize("count", [1, 2, 7, 8, 100])
def test_the_search_for_a_first_fault_leaves_no_point_out(count: int) -> None:
    assert sorted(halving(count)) == list(range(1, count + 1))


def test_the_search_for_a_first_fault_begins_far_apart() -> None:
    assert halving(63)[:7] == [32, 16, 48, 8, 40, 24, 56]


# ---- what they are about -----------------------------------------------------------------------


def test_what_carrying_needs_is_told_by_its_imports() -> None:
    """Read with eyes, once: each by the shortest way that leads to it."""
    found = digests()
    for path in (
        "sorter/pipeline/carrying.py",
        "sorter/writing/carry.py",  # carrying imports it
        "sorter/writing/copying.py",  # carry does
        "sorter/disk/streams.py",  # copying does
        "sorter/writing/undo.py",  # keeping does
        "sorter/writing/shifting.py",  # regrouping does
        "sorter/writing/mend.py",  # verifying does
        "sorter/disk/shoot.py",
        "tests/faults/scenarios.py",
        "tests/faults/dying.py",
        "tests/writing/cards.py",  # scenarios do
        "scripts/torturing/killing.py",
    ):
        assert path in found
    for path in ("sorter/page/build.py", "sorter/checking/focus.py", "sorter/optics.py"):
        assert path not in found
    assert (
        found["sorter/errors.py"]
        == hashlib.sha256((ROOT / "sorter" / "errors.py").read_bytes()).hexdigest()
    )


def test_all_forms_of_an_import_are_followed(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "pool").mkdir()
    texts = {
        "tide.py": "import pool.limpets\nfrom pool import whelks\nfrom pool import Barnacle as Shell\n",
        "pool/__init__.py": "from pool.barnacles import Barnacle\nfrom pool.never import Asked\n",
        "pool/limpets.py": "def graze():\n    from pool.weed import Weed\n",
        "pool/whelks.py": "import os\nfrom os import path\n",
        "pool/barnacles.py": "from pool.whelks import shell\nimport tide\n",
        "pool/weed.py": "",
        "pool/never.py": "",
    }
    for name, text in texts.items():
        (tmp_path / name).write_text(text)
    monkeypatch.setattr("faults.imports.ROOT", tmp_path)
    monkeypatch.setattr("faults.imports.PLACES", (tmp_path,))
    found = {path.relative_to(tmp_path).as_posix() for path in needed_by([tmp_path / "tide.py"])}
    assert found == texts.keys() - {"pool/__init__.py", "pool/never.py"}


def test_what_changed_came_or_went_since_is_named(tmp_path: Path) -> None:
    noted = tmp_path / "noted.txt"
    before = {"a.py": "1" * 64, "b.py": "2" * 64, "c.py": "3" * 64}
    assert changed(before, noted) == ["a.py", "b.py", "c.py"]
    note(before, noted)
    assert changed(before, noted) == []
    assert changed({"a.py": "1" * 64, "b.py": "4" * 64, "d.py": "5" * 64}, noted) == [
        "b.py",
        "c.py",
        "d.py",
    ]


@pytest.mark.parametrize("text", ["", "limpets\n", "# only words\n", "\n\n", "<<<<<<< main\n"])
def test_a_note_that_cannot_be_read_tells_of_no_full_run(tmp_path: Path, text: str) -> None:
    (tmp_path / "noted.txt").write_text(text)
    assert changed({"a.py": "1" * 64}, tmp_path / "noted.txt") == ["a.py"]


def test_the_note_is_one_that_sha256sum_checks(tmp_path: Path) -> None:
    note(digests(), tmp_path / "noted.txt")
    from outside.tools import run  # noqa: PLC0415  needs the program

    done = run("sha256sum", "--check", "--strict", "--quiet", str(tmp_path / "noted.txt"), cwd=ROOT)
    assert (done.returncode, done.stdout, done.stderr) == (0, "", "")


def test_the_note_lies_in_the_repository() -> None:
    assert sampling.NOTED.parent == ROOT / "tests" / "faults"


# ---- said by a run -----------------------------------------------------------------------------


def run(*arguments: str) -> str:
    """What pytest prints in a process of its own, where nothing of this run's options is known."""
    command = [sys.executable, "-m", "pytest", "-p", "no:cacheprovider", "--color=no", *arguments]
    environment = {name: value for name, value in os.environ.items() if "PYTEST" not in name}
    done = subprocess.run(  # noqa: S603  our own tests
        command, cwd=ROOT, capture_output=True, text=True, check=False, env=environment
    )
    return done.stdout


@pytest.mark.parametrize(
    ("outcome", "when", "made"),
    [("passed", "call", True), ("passed", "setup", False), ("skipped", "call", False)],
)
def test_what_ran_to_its_end_is_counted(
    cuts: Cuts, request: pytest.FixtureRequest, outcome: str, when: str, *, made: bool
) -> None:
    assert cuts.points(1)
    own = request.node.user_properties
    report = Namespace(outcome=outcome, passed=outcome == "passed", when=when, user_properties=own)
    assert deciding.made_by(cast("pytest.TestReport", report)) is made
    report.user_properties = []
    assert not deciding.made_by(cast("pytest.TestReport", report))


def test_a_run_says_its_seed_and_a_failing_test_of_a_worker_says_it_too() -> None:
    said = run("-n", "1", "tests/faults/failing.py")
    assert "1 failed" in said
    seeds = re.findall(r"--cuts-seed (\d+)", said)
    assert len(seeds) == 3, said
    assert len(set(seeds)) == 1, "in the head, with the test and at the end"


def test_a_seed_that_was_said_gives_the_same_again_in_a_worker_too() -> None:
    said = run("-n", "1", "tests/faults/failing.py", f"--cuts-seed={SOME.seed}")
    assert f"it was given {SOME.points(100, 'copy')}" in said
    assert f"a sample; --cuts-seed {SOME.seed} gives it again" in said


def test_all_are_made_where_it_is_asked_for() -> None:
    said = run("tests/faults/failing.py", "--thorough")
    assert "cuts and kills: all of them, as asked for" in said
    assert "it was given range(1, 101)" in said


# ---- decided, and noted ------------------------------------------------------------------------


@dataclass(slots=True)
class Run:
    """What of pytest's own settings is looked at."""

    args: list[str]
    option: Namespace
    invocation_params: Namespace


def run_of(*args: str, **said: object) -> pytest.Config:
    plain = {"keyword": "", "markexpr": "", "deselect": None, "ignore": None, "lf": False}
    plain |= {"thorough": False, "cuts_seed": None}
    made = Run(list(args), Namespace(**(plain | said)), Namespace(dir=ROOT))
    return cast("pytest.Config", made)


@pytest.fixture
def noted(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """The note of the last full run, which looked at the files as they are now."""
    path = tmp_path / "noted.txt"
    note(digests(), path)
    monkeypatch.setattr(deciding, "changed", partial(changed, noted=path))
    monkeypatch.setattr(deciding, "note", partial(note, noted=path))
    return path


def decided(config: pytest.Config) -> Cuts:
    deciding.decide(config)
    return deciding.cuts_of(config)


def spoil(noted: Path) -> None:
    noted.write_text(noted.read_text().replace("sorter/disk/shoot.py", "sorter/disk/old.py"))


def test_a_sample_is_made_of_what_is_as_it_was(noted: Path) -> None:
    config = run_of("tests")
    assert not decided(config).every
    assert noted.exists()
    seeds = {decided(run_of("tests")).seed for _ in range(20)}
    assert len(seeds) > 15, "each run has a new one"
    assert f"a sample; --cuts-seed {config.option.cuts_seed} gives it" in deciding.head(config)


def test_all_are_made_of_what_has_changed_and_it_is_named(noted: Path) -> None:
    spoil(noted)
    config = run_of("tests")
    assert decided(config).every
    assert "sorter/disk/old.py, sorter/disk/shoot.py changed" in deciding.head(config)


def test_a_sample_that_is_asked_for_by_its_seed_is_a_sample(noted: Path) -> None:
    spoil(noted)
    assert decided(run_of("tests", cuts_seed=5)) == Cuts(seed=5, every=False)
    assert decided(run_of("tests", cuts_seed=5, thorough=True)) == Cuts(seed=5, every=True)


@pytest.mark.parametrize(
    "args", [["tests"], ["tests/faults", "tests/writing"], ["."], ["tests/writing", "tests"]]
)
def test_a_full_run_that_found_nothing_is_noted(noted: Path, args: list[str]) -> None:
    spoil(noted)
    config = run_of(*args)
    deciding.decide(config)
    assert "commit it" in deciding.ended(config, 7, well=True)
    assert changed(digests(), noted) == []
    assert not decided(run_of("tests")).every


LEAVES_OUT: dict[str, dict[str, object]] = {
    "some by their name": {"keyword": "copy"},
    "some by a mark": {"markexpr": "not slow"},
    "one of them": {"deselect": ["tests/faults/test_dying.py"]},
    "a module": {"ignore": ["tests/faults/test_dying.py"]},
    "what went well before": {"lf": True},
}


@pytest.mark.parametrize("said", LEAVES_OUT.values(), ids=LEAVES_OUT)
def test_a_run_that_leaves_something_out_is_not_noted(noted: Path, said: dict[str, object]) -> None:
    spoil(noted)
    config = run_of("tests", **said)
    deciding.decide(config)
    assert "commit it" not in deciding.ended(config, 7, well=True)
    assert changed(digests(), noted) != []


@pytest.mark.parametrize(
    "args", [["tests/writing"], ["tests/faults/test_dying.py"], ["tests/faults"]]
)
def test_a_run_of_some_rooms_is_not_noted(noted: Path, args: list[str]) -> None:
    spoil(noted)
    config = run_of(*args)
    deciding.decide(config)
    assert "commit it" not in deciding.ended(config, 7, well=True)
    assert changed(digests(), noted) != []


def test_a_run_that_only_lists_its_tests_is_not_noted(noted: Path) -> None:
    spoil(noted)
    config = run_of("tests")
    deciding.decide(config)
    assert "commit it" not in deciding.ended(config, 0, well=True)
    assert changed(digests(), noted) != []


def test_neither_is_a_run_that_found_something_nor_a_sample(noted: Path) -> None:
    spoil(noted)
    before = noted.read_text()
    for config, well in ((run_of("tests"), False), (run_of("tests", cuts_seed=1), True)):
        deciding.decide(config)
        assert "commit it" not in deciding.ended(config, 7, well=well)
    assert noted.read_text() == before
