"""What deserves a look in a sequence, each as a short clause."""

from __future__ import annotations

from sorter.grouping.evidence import Evidence, Look, Move
from sorter.grouping.margins import Margin
from sorter.grouping.search import Piece
from sorter.grouping.timeline import WRAP, last_number
from sorter.model.kinds import Bracketing, FocusMode, Kind
from sorter.model.knobs import GroupingKnobs

_MAY_BE_STACK_FROM = 5  # frames; fewer are hardly a focus series
_STEADY = 0.35  # spread of the pauses over their mean
_NAMED_GAPS = 3


def for_piece(evidence: Evidence, piece: Piece) -> list[str]:
    """What the frames themselves say: stopped early, files missing, bracketing left on."""
    looks = evidence.looks[piece.start : piece.stop]
    return [
        *_planned(looks, piece.kind),
        *_missing(evidence, piece),
        *_left_on(looks),
        *_may_be_stack(evidence, piece),
    ]


def _planned(looks: tuple[Look, ...], kind: Kind) -> list[str]:
    planned = looks[0].facts.planned
    if not planned or kind not in (Kind.FOCUS_BRACKET, Kind.EXPOSURE_BRACKET, Kind.BURST):
        return []
    return [f"{len(looks)} of {planned} planned frames"] if len(looks) < planned else []


def _missing(evidence: Evidence, piece: Piece) -> list[str]:
    gaps = []
    for index in range(piece.start, piece.stop - 1):
        step, number = evidence.links[index].number_step, last_number(evidence.looks[index].frame)
        if number is not None and step is not None and step > 1:
            first, last = number % WRAP + 1, (number + step - 2) % WRAP + 1
            gaps.append(f"{first:04d}" if first == last else f"{first:04d} to {last:04d}")
    if not gaps or piece.kind in (Kind.INTERVAL, Kind.MANUAL_STACK):
        return []
    more = f" and {len(gaps) - _NAMED_GAPS} more gaps" if len(gaps) > _NAMED_GAPS else ""
    return [f"files {', '.join(gaps[:_NAMED_GAPS])}{more} missing"]


def _left_on(looks: tuple[Look, ...]) -> list[str]:
    if len(looks) > 1 or looks[0].facts.bracketing not in (Bracketing.FOCUS, Bracketing.EXPOSURE):
        return []
    planned = looks[0].facts.planned
    if planned and planned > 1:
        return [f"one frame of {planned} planned: bracketing stopped at once, or left on"]
    return [f"{looks[0].facts.bracketing} bracketing was left on"]


def _may_be_stack(evidence: Evidence, piece: Piece) -> list[str]:
    looks = evidence.looks[piece.start : piece.stop]
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
