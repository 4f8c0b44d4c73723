"""Judgements as bytes, and the keys by which they are kept beside the ledger.

A key is made of what was judged (the pictures' own key), of what grouping said of it, and of FORMAT_VERSION: a
changed rule is never answered out of an old judgement.
"""

from __future__ import annotations

import base64
import hashlib
import json
from collections.abc import Sequence
from dataclasses import asdict
from enum import StrEnum
from typing import Any, Final

from sorter.model.finding import (
    Check,
    End,
    FrameFindings,
    ProposedSequence,
    Unjudged,
    Verdict,
)
from sorter.model.judgement import FrameSummary, Judgement, Thumb
from sorter.model.kinds import Kind
from sorter.model.subject import SubjectSeries

FORMAT_VERSION: Final = 8
"""Goes up with every change of what judges: a test holds it against the sources of the rules."""
_WORDS: Final[dict[str, type[StrEnum]]] = {
    "kind": Kind,
    "verdict": Verdict,
    "missing_end": End,
    "unjudged": Unjudged,
    "looks_like": Kind,
    "attempts_verdict": Verdict,
}


def key_of(run: SubjectSeries) -> str:
    """The key of the judgement on these frames; empty where the pictures have none."""
    if not run.key:
        return ""
    first = run.first
    known: tuple[object, ...] = ("lone",)
    if not first.is_lone:
        known = (first.kind, first.nearward, first.step_of_depth)
    return _hashed([("judgement", *known, run.key)])


def key_of_pairs(pairs: Sequence[tuple[str, str]]) -> str:
    """The key of how like these pictures are, pair by pair; empty where one of them has none."""
    return _hashed([("pairs",), *pairs]) if pairs and all(map(all, pairs)) else ""


def key_of_views(seams: Sequence[tuple[str, ...]]) -> str:
    """The key of how like views are at these seams, by the frames at each; empty where one has no key."""
    return _hashed([("views",), *seams]) if seams and all(map(all, seams)) else ""


def _hashed(lines: Sequence[tuple[object, ...]]) -> str:
    text = "\n".join(" ".join(map(str, line)) for line in lines)
    return hashlib.sha256(f"{FORMAT_VERSION}\n{text}".encode()).hexdigest()


# ---- a judgement -------------------------------------------------------------------------------


def stored(judgement: Judgement) -> bytes:
    """The judgement as JSON."""
    whole = asdict(judgement)
    if judgement.thumb is not None:
        whole["thumb"]["data"] = base64.b64encode(judgement.thumb.data).decode()
    return json.dumps(whole).encode()


def restored(data: bytes) -> Judgement | None:
    """The judgement out of its bytes; None where these are damaged."""
    try:
        whole = json.loads(data)
        return Judgement(
            check=None if whole["check"] is None else Check(**_worded(whole["check"])),
            frame_findings=FrameFindings(
                **{name: _tuples(value) for name, value in whole["frame_findings"].items()}
            ),
            proposed=tuple(ProposedSequence(**_worded(each)) for each in whole["proposed"]),
            covered=whole["covered"],
            summaries=tuple(each and FrameSummary(**each) for each in whole["summaries"]),
            thumb=_thumb(whole["thumb"]),
        )
    except (ValueError, TypeError, KeyError, AttributeError, RecursionError):
        return None  # it is made again


def _worded(given: dict[str, Any]) -> dict[str, Any]:
    return {
        name: _WORDS[name](value) if name in _WORDS and value is not None else _tuples(value)
        for name, value in given.items()
    }


def _tuples(value: Any) -> Any:  # noqa: ANN401  whatever a finding holds
    return tuple(map(_tuples, value)) if isinstance(value, list) else value


def _thumb(given: dict[str, Any] | None) -> Thumb | None:
    if given is None:
        return None
    thumb = Thumb(**{**given, "data": base64.b64decode(given["data"])})
    if len(thumb.data) != thumb.rows * thumb.columns:
        raise ValueError("a picture in small of other sides than its own")
    return thumb


# ---- likeness ----------------------------------------------------------------------------------


def stored_likeness(values: Sequence[float]) -> bytes:
    """The values as JSON."""
    return json.dumps(list(values)).encode()


def restored_likeness(data: bytes, number: int) -> tuple[float, ...] | None:
    """The values out of their bytes; None where these are damaged, or others in number."""
    try:
        values = json.loads(data)
        is_whole = len(values) == number and all(isinstance(each, float) for each in values)
    except (ValueError, TypeError, RecursionError):
        return None
    return tuple(values) if is_whole else None
