"""Judgements kept beside the ledger: they come back as they were, and none outlives its rules."""

from __future__ import annotations

import ast
import hashlib
import importlib
import json
import shutil
import subprocess
import sys
from collections.abc import Iterable
from dataclasses import replace
from pathlib import Path
from typing import Any, Final

import pytest

import sorter
from checking.scene import measured, slices, whole
from pipeline.pools import card_of, run
from sorter.checking.judging import Series, judgement
from sorter.model.judgement import Judgement
from sorter.model.kinds import Kind
from sorter.model.measurement import FrameSource
from sorter.model.subject import Checked, Subject, SubjectSeries
from sorter.pipeline import Workers, check_shoot, looking
from sorter.pixels import measuring
from sorter.writing import judgements

ROOT: Final = Path(sorter.__file__).parent
GOLDEN: Final = Path(__file__).parents[1] / "golden"
MADE_BY: Final = {
    "sorter/writing/judgements.py": (
        "checking/*.py",
        "pixels/views.py",
        "model/finding.py",
        "model/measurement.py",
        "model/judgement.py",
    ),
    "sorter/pixels/store.py": (
        "pixels/decoded.py",
        "pixels/measuring.py",
        "pixels/reduced.py",
        "pixels/sharpness.py",
        "pixels/shifts.py",
        "pixels/sources.py",
    ),
}
"""By the module whose FORMAT_VERSION tells of it: the sources by which what is kept is made."""


def quiet(_done: int, _total: int) -> None:
    """Says nothing."""


# ---- the form ----------------------------------------------------------------------------------


def digest_of(patterns: Iterable[str]) -> str:
    """Of what these sources do: comments and docstrings do not count, nor the version of Python."""
    hashed = hashlib.sha256()
    for path in sorted(path for pattern in patterns for path in ROOT.glob(pattern)):
        tree = ast.parse(path.read_text(encoding="utf-8"))
        hashed.update(f"{path.relative_to(ROOT).as_posix()}\n{said(tree)}\n".encode())
    return hashed.hexdigest()


def said(node: object) -> str:
    """The tree as text, without what is empty: versions of Python differ in that."""
    if isinstance(node, list):
        return "[" + ",".join(said(each) for each in node if not _is_text(each)) + "]"
    if not isinstance(node, ast.AST):
        return repr(node)
    fields = ((name, value) for name, value in ast.iter_fields(node) if value not in (None, []))
    return f"{type(node).__name__}({','.join(f'{name}={said(value)}' for name, value in fields)})"


def _is_text(node: object) -> bool:
    return (
        isinstance(node, ast.Expr)
        and isinstance(node.value, ast.Constant)
        and isinstance(node.value.value, str)
    )


def test_comments_and_docstrings_are_no_change_and_all_else_is() -> None:
    one = said(ast.parse('LEAST = 3\ndef f(x):\n    """The double."""\n    return 2 * x'))
    assert said(ast.parse("LEAST = 3  # of a stack\n\ndef f(x):\n    return 2 * x")) == one
    assert said(ast.parse("LEAST = 4\ndef f(x):\n    return 2 * x")) != one
    assert said(ast.parse("LEAST = 3\ndef f(x):\n    return 2 + x")) != one


@pytest.mark.parametrize("of", MADE_BY)
def test_what_is_made_otherwise_takes_another_form(of: str, request: pytest.FixtureRequest) -> None:
    """An old store is never the answer of a new rule: FORMAT_VERSION goes up with what the sources do."""
    module = importlib.import_module(of.removesuffix(".py").replace("/", "."))
    golden = GOLDEN / f"form-of-{Path(of).stem}.json"
    now: dict[str, Any] = {"form": module.FORMAT_VERSION, "sources": digest_of(MADE_BY[of])}
    before: dict[str, Any] = json.loads(golden.read_text()) if golden.exists() else {"form": 0}
    if now["sources"] != before.get("sources"):
        assert now["form"] > before["form"], (
            f"what {of} keeps is made otherwise: raise its FORMAT_VERSION, then write {golden.name} anew with "
            "--write-golden"
        )
    if request.config.getoption("--write-golden"):
        golden.write_text(json.dumps(now, indent=1) + "\n")
    else:
        assert now == before, "write it anew with --write-golden"


# ---- there and back ----------------------------------------------------------------------------


def judged(kind: Kind, *, is_lone: bool = False) -> Judgement:
    pictures = slices(whole(9))
    pictures[3] = pictures[3] // 10
    return judgement(
        Series(
            kind=kind,
            is_lone=is_lone,
            measured=measured(pictures),
            nearward=None if is_lone else True,
            step_of_depth=None if is_lone else 0.7,
        )
    )


@pytest.mark.parametrize("kind", [Kind.FOCUS_BRACKET, Kind.MANUAL_STACK, Kind.BURST])
def test_a_sequence_comes_back_as_it_was(kind: Kind) -> None:
    found = judged(kind)
    assert judgements.restored(judgements.stored(found)) == found


def test_lone_frames_come_back_as_they_were() -> None:
    found = judged(Kind.SINGLE, is_lone=True)
    assert judgements.restored(judgements.stored(found)) == found
    assert len(found.summaries) == 9


@pytest.mark.parametrize(
    "data",
    [b"", b"{}", b"[]", b"null", b"7", b"\xff\xfe", b"[" * 100_000, b'{"check": {"kind": "reef"}}'],
)
def test_what_is_damaged_is_judged_anew(data: bytes) -> None:
    assert judgements.restored(data) is None
    assert judgements.restored_likeness(data, 1) is None


def test_what_is_cut_or_changed_is_judged_anew() -> None:
    data = judgements.stored(judged(Kind.FOCUS_BRACKET))
    for stop in range(0, len(data), 997):
        assert judgements.restored(data[:stop]) is None
    whole_one = json.loads(data)
    for name in whole_one:
        assert judgements.restored(json.dumps({**whole_one, name: 7}).encode()) is None or (
            name == "covered"
        )


def test_likenesses_come_back_in_their_number_alone() -> None:
    data = judgements.stored_likeness([0.25, -1.0])
    assert judgements.restored_likeness(data, 2) == (0.25, -1.0)
    assert judgements.restored_likeness(data, 3) is None


# ---- keys --------------------------------------------------------------------------------------

BRACKET: Final = Subject(
    number=3,
    kind=Kind.FOCUS_BRACKET,
    frames=(FrameSource(previews=(), key="a"), FrameSource(previews=(), key="b")),
    paths=("a", "b"),
    nearward=True,
    step_of_depth=0.7,
)


def key(subject: Subject, pictures: str = "limpets") -> str:
    return judgements.key_of(SubjectSeries(subjects=(subject,), key=pictures))


def test_a_key_says_all_that_is_judged_by() -> None:
    others = [
        key(BRACKET, "anemones"),
        key(replace(BRACKET, kind=Kind.MANUAL_STACK)),
        key(replace(BRACKET, kind=Kind.SINGLE)),
        key(replace(BRACKET, nearward=False)),
        key(replace(BRACKET, nearward=None)),
        key(replace(BRACKET, step_of_depth=None)),
        key(replace(BRACKET, step_of_depth=0.71)),
    ]
    assert len({key(BRACKET), *others}) == 1 + len(others)


def test_a_key_says_nothing_that_is_not_judged_by(monkeypatch: pytest.MonkeyPatch) -> None:
    same = replace(BRACKET, number=4, paths=("c", "d"), body="R8", retakes=(2,), is_known=True)
    before = key(BRACKET)
    assert key(same) == before
    assert key(BRACKET, "") == ""
    monkeypatch.setattr(judgements, "FORMAT_VERSION", judgements.FORMAT_VERSION + 1)
    assert key(BRACKET) != before


# ---- in a shoot --------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def looked_at(tmp_path_factory: pytest.TempPathFactory) -> Path:
    base = tmp_path_factory.mktemp("looked")
    assert run("ingest", card_of(base), base / "shoot", "--look") <= 1
    assert run("check", base / "shoot") == 1
    return base / "shoot"


@pytest.fixture
def shoot(looked_at: Path, tmp_path: Path) -> Path:
    return shutil.copytree(looked_at, tmp_path / "shoot")


def check(shoot: Path) -> Checked:
    return check_shoot(shoot, Workers(jobs=2), quiet)


def test_a_second_check_says_the_same_and_loads_nothing_that_looks(shoot: Path) -> None:
    """The whole of what it costs beyond starting up: no NumPy, no decoder, no table library."""
    before = (shoot / "checks.csv").read_bytes()
    program = (
        "import sys\nfrom sorter.cli import commands\n"
        "try:\n    commands(['check', sys.argv[1]])\nexcept SystemExit as ended:\n"
        "    loaded = {'numpy', 'cv2', 'scipy', 'PIL', 'pandas'} & set(sys.modules)\n"
        "    sys.exit(f'loaded {loaded}' if loaded else ended.code)\n"
    )
    done = subprocess.run(  # noqa: S603  our own program
        [sys.executable, "-c", program, str(shoot)], check=False, capture_output=True, text=True
    )
    assert (done.returncode, done.stderr) == (1, "")
    assert (shoot / "checks.csv").read_bytes() == before


def test_what_is_kept_says_what_is_judged_anew(shoot: Path) -> None:
    kept = check(shoot)
    for path in (shoot / ".sorter" / "looked").iterdir():
        if path.read_bytes().startswith((b"{", b"[")):
            path.unlink()
    assert check(shoot) == kept
    shutil.rmtree(shoot / ".sorter" / "looked")
    assert check(shoot) == kept


def test_damaged_stores_are_made_anew(shoot: Path) -> None:
    kept = check(shoot)
    for path in (shoot / ".sorter" / "looked").iterdir():
        path.write_bytes(path.read_bytes()[:-9])
    assert check(shoot) == kept
    assert check(shoot) == kept


def test_another_form_judges_anew_out_of_what_was_measured(
    shoot: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    kept = check(shoot)
    judged_now: list[Kind] = []

    def counted(series: Series) -> Judgement:
        judged_now.append(series.kind)
        return judgement(series)

    monkeypatch.setattr(looking, "judgement", counted)
    monkeypatch.setattr(measuring, "grey", None)  # nothing is decoded
    assert check(shoot) == kept
    assert judged_now == []
    monkeypatch.setattr(judgements, "FORMAT_VERSION", judgements.FORMAT_VERSION + 1)
    assert check(shoot) == kept
    assert len(judged_now) == 3, "two stacks, and the lone frames"
    assert len(list((shoot / ".sorter" / "looked").iterdir())) == 3 + 3 + 1, "none of the old ones"


def test_another_kind_is_judged_as_that_kind(shoot: Path, tmp_path: Path) -> None:
    """As if the shoot had never been looked at."""
    file = tmp_path / "corrections.csv"
    first, last = (f"DCIM/100TIDES/IMG_{number:04d}.JPG" for number in (15, 23))
    file.write_text(f"first,last,kind,name\n{first},{last},burst,\n")
    assert run("check", shoot, "--apply", "--corrections", file) == 1
    found = check(shoot)
    assert Kind.BURST in {each.kind for each in found.checks}
    shutil.rmtree(shoot / ".sorter" / "looked")
    assert check(shoot) == found
