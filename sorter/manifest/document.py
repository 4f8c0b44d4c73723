"""An account as one JSON document, with the manifest's names for what the manifest holds too."""

from __future__ import annotations

import json
import math

from sorter.manifest.figures import rounded
from sorter.manifest.rows import make_rows, spelled
from sorter.model.focus import FocusOrder
from sorter.model.kinds import STACK_KINDS
from sorter.model.note import texts
from sorter.model.row import COLUMNS, Row
from sorter.model.sequence import Account, Grounds, Sequence

FORMAT_VERSION = 1
"""Grows when a name goes away or changes its meaning; new names do not change it."""


def document(account: Account, *, card: str) -> str:
    """The same as JSON text, in ASCII."""
    return json.dumps(account_dict(account, card=card), indent=1, allow_nan=False)


def account_dict(account: Account, *, card: str) -> dict[str, object]:
    """Every sequence with its grounds and files, then what is no frame; plain values of JSON.

    Empty cells of the manifest are null here, infinity is the text "inf", notes are lists.
    """
    rows = make_rows(account)
    files: dict[int | None, list[dict[str, object]]] = {}
    for row in rows:
        files.setdefault(row.sequence, []).append(_file(row))
    return {
        "form": FORMAT_VERSION,
        "card": spelled(card),
        "frames": len(account.order),
        "sequences": [
            _sequence(number, sequence, files[number])
            for number, sequence in enumerate(account.sequences, 1)
        ],
        "no_frame": files.get(None, []),
        "litter": account.system_files,
        "folders_closed": [spelled(folder) for folder in account.folders_closed],
        "thrown_away": [spelled(path) for path in account.thrown_away],
        "shoots": [spelled(folder) for folder in account.shoots],
    }


def _sequence(number: int, sequence: Sequence, files: list[dict[str, object]]) -> dict[str, object]:
    first, last = sequence.frames[0].moment, sequence.frames[-1].moment
    return {
        "sequence": number,
        "kind": sequence.kind,
        "is_stack": sequence.kind in STACK_KINDS,
        "name": sequence.name,
        "frames": len(sequence.frames),
        "planned": sequence.planned,
        "results": len(sequence.results),
        "captured": first.iso(),
        "captured_last": last.iso(),
        "grounds": sequence.grounds.text(),
        "why": _why(sequence.grounds),
        "focus": _focus(sequence.focus),
        "relations": [{"what": one.what, "sequence": one.to + 1} for one in sequence.relations],
        "notes": list(sequence.clauses()),
        "files": files,
    }


def _focus(focus: FocusOrder) -> dict[str, object]:
    """from_near: the positions of the frames, nearest focus first; null where that is not known."""
    known = None not in focus.places
    return {
        "direction": focus.direction,
        "near_m": _json_rounded(focus.near_m),
        "far_m": _json_rounded(focus.far_m),
        "span_m": _json_rounded(focus.span_m),
        "repeats": focus.repeats,
        "from_near": [index + 1 for index in focus.from_near] if known else None,
    }


def _json_rounded(value: float | None) -> float | str | None:
    figure = rounded(value)
    return None if figure is None else _json_number(figure)


def _why(grounds: Grounds) -> dict[str, object]:
    return {
        "begins": grounds.begins,
        "begins_margin": _json_number(grounds.begins_margin),
        "kind": grounds.kind,
        "runner_up": grounds.runner_up,
        "margin": _json_number(grounds.margin),
    }


def _file(row: Row) -> dict[str, object]:
    """The row under its own names; its grounds stand with the sequence."""
    cells = row_dict(row)
    del cells["grounds"]
    return cells


def row_dict(row: Row) -> dict[str, object]:
    """The row under its own names in plain values of JSON."""
    cells = {name: _json_value(getattr(row, name)) for name in COLUMNS}
    cells["notes"] = list(texts(row.remarks))
    return cells


def _json_value(value: object) -> object:
    if isinstance(value, float):
        return _json_number(value)
    if isinstance(value, str):
        return spelled(value) or None
    return value


def _json_number(value: float) -> float | str | None:
    if math.isnan(value):
        return None
    if math.isinf(value):
        return "inf" if value > 0 else "-inf"
    return value
