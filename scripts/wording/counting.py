"""The words of what code defines and of what its docstrings say, counted by the rooms that use them."""

from __future__ import annotations

import ast
import re
from collections import Counter, defaultdict
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Final

_IN_NAMES: Final = re.compile(r"[A-Z]+(?![a-z])|[A-Z]?[a-z]+")
_IN_PROSE: Final = re.compile(r"(?<![`\w.])[A-Za-z][a-z]+(?![\w`(])")
_DOCUMENTED: Final = (ast.Module, ast.ClassDef, ast.FunctionDef, ast.AsyncFunctionDef)
_SHORTEST: Final = 3  # letters: below that stand units and indexes


@dataclass(slots=True, kw_only=True)
class Used:
    """How often a word stands in names that code defines, and in docstrings; in which rooms; in which names."""

    in_names: int = 0
    in_docstrings: int = 0
    rooms: set[str] = field(default_factory=set)
    names: Counter[str] = field(default_factory=Counter)


def counted(root: Path) -> dict[str, Used]:
    """Every word below the package's folder, in small letters. A room is a folder or module right below it."""
    found: dict[str, Used] = defaultdict(Used)
    for path in sorted(root.rglob("*.py")):
        room = path.relative_to(root).parts[0].removesuffix(".py")
        tree = ast.parse(path.read_text(encoding="utf-8"))
        for name in names_in(tree):
            for word in words_of(name):
                used = found[word]
                used.in_names += 1
                used.names[name] += 1
                used.rooms.add(room)
        for word in _prose(tree):
            used = found[word]
            used.in_docstrings += 1
            used.rooms.add(room)
    return dict(found)


def words_of(name: str) -> Iterator[str]:
    """The words of a name, in small letters: number_of_frames, NumberOfFrames and NUMBER_OF_FRAMES are three."""
    for word in _IN_NAMES.findall(name):
        if len(word) >= _SHORTEST:
            yield word.lower()


def names_in(tree: ast.AST) -> Iterator[str]:
    """Every name that the code defines: classes, functions, arguments, variables and attributes."""
    for node in ast.walk(tree):
        if isinstance(node, ast.ClassDef | ast.FunctionDef | ast.AsyncFunctionDef):
            yield node.name
        elif isinstance(node, ast.arg):
            yield node.arg
        elif isinstance(node, ast.Name) and isinstance(node.ctx, ast.Store):
            yield node.id
        elif isinstance(node, ast.Attribute) and isinstance(node.ctx, ast.Store):
            yield node.attr


def _prose(tree: ast.AST) -> Iterator[str]:
    for node in ast.walk(tree):
        if isinstance(node, _DOCUMENTED):
            for word in _IN_PROSE.findall(ast.get_docstring(node) or ""):
                if len(word) >= _SHORTEST:
                    yield word.lower()
