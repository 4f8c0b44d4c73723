"""What `import sorter` gives, and what it leaves alone."""

from __future__ import annotations

import json
import subprocess
import sys

import pytest

import sorter
from sorter import api, errors, pipeline
from sorter.errors import SorterError

NAMES = {
    *("scan", "plan", "carry", "ingest", "verify", "undo", "check", "regroup", "report"),
    *("hand_off", "collect", "tally", "steps"),
}
CODES = {
    *("answer-lost", "bad-backup", "bad-choice", "bad-corrections", "bad-pattern", "bad-settings"),
    *("bad-shoot", "cancelled", "card-empty", "card-gone", "card-is-shoot", "card-not-found"),
    *("card-not-readable", "card-not-writable", "ledger-damaged", "no-card", "no-room", "no-shoot"),
    *("not-agreed", "nothing-to-undo", "only-copies", "output-not-writable", "plan-outdated"),
    *("shoot-busy", "shoot-not-writable", "workers-gone"),
}
"""Codes of errors are for programs: one that is taken away or renamed breaks them."""


def _in_python(program: str) -> str:
    command = [sys.executable, "-c", program]
    return subprocess.run(command, check=True, capture_output=True, text=True).stdout  # noqa: S603


def test_every_name_of_the_job_is_there() -> None:
    assert set(sorter.__all__) >= NAMES
    assert all(callable(getattr(sorter, name)) for name in NAMES)
    assert set(sorter.__all__) <= set(dir(sorter))


@pytest.mark.parametrize("module", [sorter, api, pipeline])
def test_every_name_that_is_listed_is_at_home_somewhere(module: object) -> None:
    for name in module.__all__:  # type: ignore[attr-defined]
        assert getattr(module, name) is not None
    with pytest.raises(AttributeError, match="has no attribute 'barnacle'"):
        _ = module.barnacle  # type: ignore[attr-defined]


def test_importing_it_loads_nothing_of_the_work() -> None:
    loaded = json.loads(_in_python("import json, sys, sorter; print(json.dumps([*sys.modules]))"))
    assert not {"numpy", "pandas", "PIL", "cv2", "rich", "click", "sqlite3"} & {*loaded}
    assert not [name for name in loaded if name.startswith("sorter.")]


@pytest.mark.parametrize(
    ("names", "may"), [(sorted(NAMES - {"report"}), set()), (["report"], {"numpy"})]
)
def test_who_asks_for_a_call_loads_no_library_before_it_works(
    names: list[str], may: set[str]
) -> None:
    """A report draws; all others decode nothing before they are called."""
    program = f"import json, sys, sorter; [getattr(sorter, n) for n in {names}]; "
    loaded = json.loads(_in_python(program + "print(json.dumps([*sys.modules]))"))
    assert {"numpy", "pandas", "PIL", "cv2", "rich", "click"} & {*loaded} <= may


def test_every_error_has_a_code_that_stays() -> None:
    found = {
        each
        for each in vars(errors).values()
        if isinstance(each, type) and issubclass(each, SorterError) and each is not SorterError
    }
    assert {each.code for each in found} == CODES
    assert len({each.code for each in found}) == len(found)
    assert {each.exit_code for each in found} <= {2, 3, 4}
