"""Tests are shared out in units that are there, each whole with one process."""

from __future__ import annotations

from pathlib import Path

import pytest

import sharing
from sharing import place_of, unit_of

ROOT = Path(__file__).parents[1]


@pytest.mark.parametrize(
    ("nodeid", "unit"),
    [
        (
            "tests/grouping/test_cases.py::test_a_bracket[two::bodies]",
            "tests/grouping/test_cases.py",
        ),
        ("tests/browser/test_report_page.py::test_it", "tests/browser"),
        ("tests/test_docs.py::test_every_command_has_a_heading_in_the_readme", None),
        ("tests/faults/test_dying.py::test_after_every_cut[copy]", None),
    ],
)
def test_the_unit_of_a_test(nodeid: str, unit: str | None) -> None:
    assert unit_of(nodeid) == (unit or nodeid.partition("[")[0])


def test_the_longest_come_first_in_their_order() -> None:
    units = [*sharing.LONGEST, "tests/grouping/test_cases.py"]
    tests = [
        f"{unit}::test_it" if unit.endswith(".py") else f"{unit}/x.py::test_it" for unit in units
    ]
    tests = [unit if "::" in unit else test for unit, test in zip(units, tests, strict=True)]
    assert [place_of(each) for each in tests] == list(range(len(tests)))


@pytest.mark.parametrize("unit", [*sharing.LONGEST, *sharing.APART, *sharing.TOGETHER])
def test_a_unit_that_is_named_is_there(unit: str) -> None:
    path, _, function = unit.partition("::")
    assert (ROOT / path).exists()
    assert not function or f"def {function}(" in (ROOT / path).read_text(encoding="utf-8")
