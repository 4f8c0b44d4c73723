"""Evidence in plain words: where a sequence begins and why, what it is and why."""

from __future__ import annotations

import itertools
import math

from sorter.grouping.evidence import SAME_EV, Evidence, Link, Look, Move
from sorter.grouping.search import Piece
from sorter.model.frame import Facts
from sorter.model.kinds import STACK_KINDS, Bracketing, DriveMode, FocusMode, Kind

_COARSE_S = 0.5  # stamps in whole seconds tell no shorter pause

_SETTINGS = {
    "lens": "another lens",
    "f_number": "another f-number",
    "focal_length_mm": "another focal length",
    "flash_fired": "flash on or off",
    "focus_mode": "another focus mode",
    "drive_mode": "another drive mode",
    "planned": "another planned count",
    "orientation": "camera turned",
}


def seconds(value: float) -> str:
    """A pause as people say it: 0.21 s, 2.1 s, 14 s, 3 min, 2 h."""
    for limit, form in ((1.0, "{:.2f} s"), (10.0, "{:.1f} s"), (100.0, "{:.0f} s")):
        if value < limit:
            return form.format(value)
    return f"{value / 60:.0f} min" if value < 6000 else f"{value / 3600:.0f} h"  # noqa: PLR2004


def metres(value: float) -> str:
    """A distance in metres to the centimetre, finer below a tenth; infinity by name."""
    if math.isinf(value):
        return "infinity"
    return f"{value:.3f} m" if value < 0.1 else f"{value:.2f} m"  # noqa: PLR2004


def focus_at(facts: Facts) -> str:
    """Where a frame is focused: the middle of its distances, or its motor step; empty if unsaid."""
    if facts.focus_step is not None:
        return f"step {facts.focus_step}"
    ends = [end for end in (facts.focus_near_m, facts.focus_far_m) if end is not None]
    return metres(sum(ends) / len(ends)) if ends else ""


def begins(evidence: Evidence, piece: Piece, before: Piece | None) -> str:
    """Why the piece does not belong to the one before it, the strongest reasons first."""
    if before is None:
        return "first frame of this body"
    link = evidence.links[piece.start - 1]
    a, b = evidence.looks[piece.start - 1], evidence.looks[piece.start]
    said = [
        *_clock_words(link),
        *_counter_words(link, before, a),
        *_setting_words(link, a, b),
        *_focus_words(link, a, b, evidence, before),
        *_exposure_words(link),
    ]
    return ", ".join([*said[:3], _pause_words(evidence, link, before)])


def _clock_words(link: Link) -> list[str]:
    return ["the clock was set back"] if link.clock_back else []


def _counter_words(link: Link, before: Piece, last: Look) -> list[str]:
    said = []
    if link.shot_step is not None and link.shot_step <= 0:
        said.append("the camera's shot number began again")
    if link.same_burst is False:
        said.append("another burst by the camera's own mark")
    planned = last.facts.planned
    if planned and planned == before.stop - before.start:
        said.append(f"the {planned} planned frames before were done")
    if link.new_folder and link.number_step is None:
        said.append("a new folder with numbers of its own")
    return said


def _setting_words(link: Link, a: Look, b: Look) -> list[str]:
    said = [words for name, words in _SETTINGS.items() if name in link.changed]
    if "bracketing" in link.changed:
        off = b.facts.bracketing is Bracketing.OFF
        what = a.facts.bracketing if off else b.facts.bracketing
        said.insert(0, f"{what} bracketing switched {'off' if off else 'on'}")
    return said


def _focus_words(link: Link, a: Look, b: Look, evidence: Evidence, before: Piece) -> list[str]:
    if link.move in (Move.UNKNOWN, Move.TIE) or link.waver:
        return []
    steps = evidence.links[before.start : before.stop - 1]
    fell_back = before.kind in STACK_KINDS and _main_way(steps) not in (Move.UNKNOWN, link.move)
    verb = "fell back" if fell_back else "moved"
    return [f"focus {verb} from {focus_at(a.facts)} to {focus_at(b.facts)}"]


def _main_way(links: tuple[Link, ...]) -> Move:
    moves = [link.move for link in links]
    farther, nearer = moves.count(Move.FARTHER), moves.count(Move.NEARER)
    if farther == nearer:
        return Move.UNKNOWN
    return Move.FARTHER if farther > nearer else Move.NEARER


def _exposure_words(link: Link) -> list[str]:
    if abs(link.ev_change) <= SAME_EV:
        return []
    return [f"exposure changed by {link.ev_change:+.1f} EV"]


def _pause_words(evidence: Evidence, link: Link, before: Piece) -> str:
    if link.clock_back:
        return "the pause is unknown"
    text = f"{seconds(link.pause_s)} after the frame before"
    pauses = [step.pause_s for step in evidence.links[before.start : before.stop - 1]]
    if not pauses or link.grain_s > _COARSE_S:
        return text
    return f"{text} (usual there: {seconds(sorted(pauses)[len(pauses) // 2])})"


def kind_of(evidence: Evidence, piece: Piece) -> str:
    """Why the piece is of its kind: the figures that made it so."""
    looks = evidence.looks[piece.start : piece.stop]
    links = evidence.links[piece.start : piece.stop - 1]
    if len(looks) == 1:
        return _single_words(looks[0])
    said = [
        *_drive_words(looks[0], piece.kind),
        _focus_path_words(looks, links),
        *_exposure_path_words(looks, links, piece.kind),
        _tempo_words(links),
        "same lens and settings" if not any(link.changed for link in links) else "",
    ]
    return f"{len(looks)} frames: " + ", ".join(words for words in said if words)


def _single_words(look: Look) -> str:
    if look.facts.bracketing in (Bracketing.FOCUS, Bracketing.EXPOSURE):
        return f"one frame, though {look.facts.bracketing} bracketing is on"
    return "one frame, nothing beside it goes with it"


def _drive_words(look: Look, kind: Kind) -> list[str]:
    facts = look.facts
    said = []
    if facts.bracketing in (Bracketing.FOCUS, Bracketing.EXPOSURE, Bracketing.OTHER):
        said.append(f"the camera says {facts.bracketing} bracketing")
    elif facts.bracketing is None and kind is Kind.FOCUS_BRACKET:
        said.append("the camera does not say whether it brackets")
    if facts.drive_mode is not None and facts.drive_mode is not DriveMode.SINGLE:
        said.append(f"{facts.drive_mode} drive")
    elif facts.drive_mode is not None and kind is not Kind.FOCUS_BRACKET:
        said.append("single drive")
    if facts.focus_mode is FocusMode.MANUAL:
        said.append("manual focus")
    return said


def _focus_path_words(looks: tuple[Look, ...], links: tuple[Link, ...]) -> str:
    moves = [link.move for link in links if link.move not in (Move.UNKNOWN, Move.TIE)]
    if any(look.focus is None for look in looks):
        return "focus not told"
    first, last = focus_at(looks[0].facts), focus_at(looks[-1].facts)
    if not moves:
        return f"focus stays at {first}"
    one_way = len(set(moves)) == 1
    path = f"{first} to {last}"
    if one_way:
        return f"focus goes one way, {moves[0].value}, {path}"
    turns = sum(a is not b for a, b in itertools.pairwise(moves))
    return f"focus goes {path}, turning {turns} time{'s' if turns > 1 else ''}"


def _exposure_path_words(looks: tuple[Look, ...], links: tuple[Link, ...], kind: Kind) -> list[str]:
    if kind is not Kind.EXPOSURE_BRACKET:
        return []
    told = [look.said_ev for look in looks if look.said_ev is not None]
    if len(told) == len(looks) and len(set(told)) == len(looks):
        values = told
    else:
        first = told[0] if told else 0.0
        values = list(itertools.accumulate((link.ev_change for link in links), initial=first))
    return ["exposures " + " ".join(f"{ev:+.1f}" for ev in values) + " EV"]


def _tempo_words(links: tuple[Link, ...]) -> str:
    pauses = sorted(link.pause_s for link in links)
    if links[0].grain_s > _COARSE_S:
        total = sum(link.elapsed_s for link in links)
        return f"{seconds(total / len(links))} a frame (stamps in whole seconds)"
    middle, longest = pauses[len(pauses) // 2], pauses[-1]
    if longest > 2 * middle:
        return f"pauses of {seconds(pauses[0])} to {seconds(longest)}, usual {seconds(middle)}"
    return f"{seconds(middle)} from frame to frame"
