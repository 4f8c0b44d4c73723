"""Values of ours as plain values of JSON, under names that stay."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping
from dataclasses import fields, is_dataclass
from enum import Enum
from pathlib import Path
from typing import Any, TypeAlias

from sorter.errors import SorterError
from sorter.manifest.rows import spelled
from sorter.model.plan import Entry

Json: TypeAlias = bool | int | float | str | list["Json"] | dict[str, "Json"] | None


def plain(value: Any) -> Json:  # noqa: ANN401  whatever a result holds
    """The value as JSON has it: dataclasses by their fields, words by their values, paths spelled.

    Infinity is the text "inf", what is no number null; what JSON has no form for is its text.
    """
    for kind, made in _FORMS:
        if isinstance(value, kind):
            return made(value)
    if is_dataclass(value) and not isinstance(value, type):
        return {each.name: plain(getattr(value, each.name)) for each in fields(value)}
    return spelled(str(value))


def plain_dict(values: Mapping[str, object]) -> dict[str, Json]:
    """The values under their names, each as JSON has it."""
    return {name: plain(value) for name, value in values.items()}


def _number(value: float) -> Json:
    if math.isnan(value):
        return None
    if math.isinf(value):
        return "inf" if value > 0 else "-inf"
    return float(value)


def error_dict(error: SorterError | None) -> Json:
    """What went wrong: its code, which stays, and the sentence."""
    return None if error is None else {"code": error.code, "says": spelled(str(error))}


_FORMS: tuple[tuple[Any, Callable[[Any], Json]], ...] = (
    (type(None), lambda _: None),
    (bool, bool),
    (Enum, lambda word: plain(word.value)),
    (str, spelled),
    (int, int),
    (float, _number),
    (Path, lambda path: spelled(str(path))),
    (SorterError, error_dict),
    (Mapping, lambda pairs: {str(plain(key)): plain(each) for key, each in pairs.items()}),
    ((tuple, list), lambda many: [plain(each) for each in many]),
    ((set, frozenset), lambda many: sorted((plain(each) for each in many), key=str)),
)


def sources(entries: Iterable[Entry]) -> Json:
    """The files by their paths on the card."""
    return [spelled(entry.row.source) for entry in entries]


def places(entries: Iterable[Entry]) -> Json:
    """The files by their paths in the shoot."""
    return [spelled(entry.row.destination) for entry in entries]


def with_notes(entries: Iterable[Entry]) -> Json:
    """The files by their paths on the card, each with what is said of it."""
    return [
        {
            "source": spelled(entry.row.source),
            "notes": [
                spelled(str(note)) for note in (*entry.row.remarks, *entry.placement.carrying_notes)
            ],
        }
        for entry in entries
    ]
