"""Which files of the repository a module needs, told by its imports; a name that a package hands on
leads to the module that it is from."""

from __future__ import annotations

import ast
from collections.abc import Iterable, Iterator
from functools import cache
from pathlib import Path
from typing import Final

ROOT: Final = Path(__file__).parents[2]
PLACES: Final = (ROOT, ROOT / "tests", ROOT / "scripts")
"""Where modules of ours are found: see pythonpath in pyproject.toml."""


def needed_by(roots: Iterable[Path], within: str = "") -> frozenset[Path]:
    """These files, and all that they import, whenever they do; of the latter only what lies within."""
    found: set[Path] = set()
    ahead = list(roots)
    while ahead:
        path = ahead.pop()
        if path not in found:
            found.add(path)
            ahead += [each for each in _imported(path) if each.is_relative_to(ROOT / within)]
    return frozenset(found)


@cache
def _tree(path: Path) -> ast.Module:
    return ast.parse(path.read_text(encoding="utf-8"))


@cache
def _imported(path: Path) -> frozenset[Path]:
    return frozenset(_each_imported(path))


def _each_imported(path: Path) -> Iterator[Path]:
    for node in ast.walk(_tree(path)):
        if isinstance(node, ast.Import):
            yield from (file for alias in node.names if (file := _module(alias.name)))
        elif isinstance(node, ast.ImportFrom) and node.module:
            for alias in node.names:
                yield from _of(node.module, alias.name)


def _of(module: str, name: str) -> Iterator[Path]:
    """The file that `from module import name` is about; none where it is not ours."""
    file = _module(f"{module}.{name}") or _module(module)
    handed_on = _handed_on(file, name) if file and file.name == "__init__.py" else None
    if handed_on:
        yield from _of(*handed_on)
    elif file:
        yield file


def _handed_on(package: Path, name: str) -> tuple[str, str] | None:
    """Where the package has the name from, and what it is called there."""
    for node in _tree(package).body:
        if isinstance(node, ast.ImportFrom) and node.module:
            for alias in node.names:
                if (alias.asname or alias.name) == name:
                    return node.module, alias.name
    return None


def _module(name: str) -> Path | None:
    paths = [place.joinpath(*name.split(".")) for place in PLACES]
    files = [file for path in paths for file in (path.with_suffix(".py"), path / "__init__.py")]
    return next((file for file in files if file.is_file()), None)
