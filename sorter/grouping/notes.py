"""What deserves a look in a sequence, each as a short clause."""

from __future__ import annotations

from sorter.grouping.evidence import Evidence, Look, Move
from sorter.grouping.margins import Margin
from sorter.grouping.missing import Missing
from sorter.grouping.search import Piece
from sorter.model.kinds import Bracketing, FocusMode, Kind
from sorter.model.knobs import GroupingKnobs

_MAY_BE_STACK_FROM = 5  # frames; fewer are hardly a focus series
_STEADY = 0.35  # spread of the pauses over their mean
_NAMED_GAPS = 3


def for_piece(evidence: Evidence, piece: Piece, lack: Missing) -> list[str]:
    """What the frames themselves say: stopped early, files missing, bracketing left on."""
    looks = evidence.looks[piece.start : piece.stop]
    return [*_lacking(lack), *_left_on(looks), *_may_be_stack(evidence, piece)]


def _lacking(lack: Missing) -> list[str]:
    """Such as "11 of 48, stopped", "37 of 40, 0106 to 0108 missing", "file 0106 missing"."""
    said = [f"{lack.length} of {lack.planned}"] if lack.incomplete and lack.length > 1 else []
    if lack.spans:
        what = "" if said else "file " if lack.count == 1 else "files "
        said.append(f"{what}{_names(lack.spans)} missing")
    if lack.stopped and lack.length > 1:
        said.append("stopped")
    elif lack.incomplete and lack.at_infinity and lack.length > 1:
        said.append("focus reached infinity")
    unsorted = [f"{number:04d}, {kind}, may belong here" for number, kind in lack.unsorted]
    return [*([", ".join(said)] if said else []), *unsorted]


def _names(spans: tuple[tuple[int, int], ...]) -> str:
    names = [
        f"{first:04d}" if first == last else f"{first:04d} to {last:04d}" for first, last in spans
    ]
    more = f" and {len(names) - _NAMED_GAPS} more gaps" if len(names) > _NAMED_GAPS else ""
    return ", ".join(names[:_NAMED_GAPS]) + more


def _left_on(looks: tuple[Look, ...]) -> list[str]:
    if len(looks) > 1 or looks[0].facts.bracketing not in (Bracketing.FOCUS, Bracketing.EXPOSURE):
        return []
    planned = looks[0].facts.planned
    if planned and planned > 1:
        return [f"one frame of {planned} planned: bracketing stopped at once, or left on"]
    return [f"{looks[0].facts.bracketing} bracketing was left on"]


def _may_be_stack(evidence: Evidence, piece: Piece) -> list[str]:
    looks = evidence.looks[piece.start : piece.stop]
    if piece.kind is Kind.INTERVAL and looks[0].facts.flash_fired:
        return ["may be a stack on a rail: a timer rarely fires a flash"]
    if piece.kind is not Kind.BURST or len(looks) < _MAY_BE_STACK_FROM:
        return []
    if not _steady(evidence, piece):
        return []
    facts = looks[0].facts
    if facts.bracketing is None and all(look.focus is None for look in looks):
        return ["may be a focus stack: this body does not tell its focus"]
    links = evidence.links[piece.start : piece.stop - 1]
    stays = all(link.move in (Move.TIE, Move.UNKNOWN) for link in links)
    if facts.focus_mode is FocusMode.MANUAL and stays:
        return ["may be a hand-held stack: the pictures must tell"]
    return []


def _steady(evidence: Evidence, piece: Piece) -> bool:
    links = evidence.links[piece.start : piece.stop - 1]
    pauses = [link.pause_s for link in links]
    mean = sum(pauses) / len(pauses)
    coarse = max(link.grain_s for link in links) > mean
    spread = sum((pause - mean) ** 2 for pause in pauses) / len(pauses)
    return coarse or spread <= (_STEADY * mean) ** 2


def unsure(piece: Piece, kind: Margin, boundary: Margin, knobs: GroupingKnobs) -> list[str]:
    """Says aloud that a second-best account is nearly as good."""
    said = []
    if kind.kind is not None and kind.nats < knobs.unsure_below:
        single = kind.kind is Kind.SINGLE
        other = f"{piece.stop - piece.start} singles" if single else str(kind.kind)
        said.append(f"unsure: {piece.kind} or {other}")
    if boundary.kind is not None and boundary.nats < knobs.unsure_below:
        said.append(f"unsure: may be one {boundary.kind} with what is before it")
    return said
