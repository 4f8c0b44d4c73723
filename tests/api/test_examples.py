"""Every example in a docstring of the front door runs, on a card of its own."""

from __future__ import annotations

import doctest
import importlib
import pkgutil
from pathlib import Path

import pytest

import sorter
import tides
from sorter import api

card = tides.whole_card

MODULES = [f"sorter.api.{each.name}" for each in pkgutil.iter_modules(api.__path__)]
FOUND = [
    (module, test.name)
    for module in MODULES
    for test in doctest.DocTestFinder().find(importlib.import_module(module))
    if test.examples
]


def test_each_call_has_an_example() -> None:
    own = {name.rpartition(".")[2] for _, name in FOUND}
    calls = {name for name in sorter.__all__ if name.islower()}
    assert calls <= own


@pytest.mark.parametrize(("module", "name"), FOUND)
def test_an_example_is_true(module: str, name: str, card: Path, tmp_path: Path) -> None:
    given = {name: getattr(sorter, name) for name in sorter.__all__}
    given |= {"card": card, "shoot": tmp_path / "shoot", "lists": tmp_path / "lists"}
    (test,) = [
        each
        for each in doctest.DocTestFinder().find(importlib.import_module(module))
        if each.name == name
    ]
    test.globs.update(given)
    said: list[str] = []
    doctest.DocTestRunner().run(test, out=said.append)
    assert said == []
