"""What is wrong after a run that met spoiled copies, or an edited card: with files, and with its words."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable

from torturing.claims import FINISHED, Scene, lost_for_good, misleading
from torturing.pool import SPOILED, Tally
from torturing.states import Known, State

VERIFICATION_FAILED = 4
SIDECARS = (".XMP", ".xmp")
"""What these end with may be edited, and is left as it is: that ends with exit code 1."""


def after_a_kill(before: State, after: State, known: Known) -> Tally:
    """What a run that was killed did that it must not: what it lost, let go too early, or made."""
    tally = Tally()
    gone = sorted((before.present & known.ever) - after.present)
    tally.lost += _noted(tally, "lost", gone)
    tally.lost += _noted(
        tally, "left the card before every copy was whole", _let_go(before, after, known)
    )
    copies = (after.shoot, after.other)
    strange = {*known.ever, *known.made, SPOILED}
    made = [path for copy in copies for path, one in copy.there.items() if one not in strange]
    made += [path for path, one in after.card.items() if before.card.get(path, one) != one]
    tally.damaged += _noted(tally, "holds bytes that no file had", made)
    return tally


def _let_go(before: State, after: State, known: Known) -> list[str]:
    """Files that left the card, and are not whole in each of the copies, or were to stay there."""
    copies = [set(copy.there.values()) for copy in known.copies(after)]
    left = {path: one for path, one in before.card.items() if path not in after.card}
    return [
        path for path, one in left.items() if not (known.moves and all(one in c for c in copies))
    ]


def at_the_end(scene: Scene) -> Tally:
    """What is wrong with the files after the last run, with how it ended, and with what it said."""
    tally = after_a_kill(scene.before, scene.after, scene.known)
    for copy in (scene.after.shoot, scene.after.other):
        counted = Counter(copy.whole.values())
        twice = [path for path, one in copy.whole.items() if counted[one] > 1]
        tally.duplicated += _noted(tally, "whole there more than once", twice)
    tally.failed += _noted(tally, "the last run", _wrong_codes(scene))
    tally.add(words_alone(scene))
    return tally


def words_alone(scene: Scene) -> Tally:
    """Which sentences of the last run what lies on the disks contradicts."""
    tally = Tally()
    tally.misleading += _noted(tally, "misleading", misleading(scene))
    return tally


def _wrong_codes(scene: Scene) -> list[str]:
    """A run that comes to no end, or makes little of what is lost for good."""
    code, undoes, known = scene.ended.code, scene.ended.undoes, scene.known
    refused = code == 2 and undoes
    if code not in FINISHED and not refused:
        return [f"ended with {code}: {scene.ended.said[-600:]}"]
    if known.moves and scene.ended.command == "ingest" and code == 0 and scene.after.card:
        return [f"ended with 0, and {len(scene.after.card)} files are still on the card"]
    if undoes:
        return []
    lost = [path for path in lost_for_good(scene) if not path.endswith(SIDECARS)]
    if lost and code != VERIFICATION_FAILED:
        return [f"ended with {code}, though {lost[0]} is lost for good"]
    return []


def _noted(tally: Tally, what: str, each: Iterable[str]) -> int:
    """How many there are; each is said."""
    lines = [f"{what}: {one}" for one in each]
    tally.said += lines
    return len(lines)
