"""What a run said at its end, held against what lies on the disks.

The sentences are found by their own templates, copied from the sorter's last lines and not imported. So
a run that ended and said none of them is told of too: then a sentence was changed there.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Final

from torturing.states import Copy, Known, State

FINISHED: Final = (0, 1, 4)
"""Exit codes of a run that came to its end."""

# of an ingest
VERIFIED: Final = re.compile(r"^(\d+) of (\d+) files? verified: (.*)$", re.MULTILINE)
SECOND: Final = re.compile(r"^Second copy: (\d+) of (\d+) files? verified in ", re.MULTILINE)
TWO: Final = "Two verified copies exist now"
FORMAT: Final = "the card may be formatted"
ALL_MOVED: Final = re.compile(r"^(?:(\d+) )?moved(?: now)?, ")
PART_MOVED: Final = re.compile(
    r"^(?:\d+ carried now \()?(\d+) moved, (\d+) copied( and still on the card)?"
)
ALREADY: Final = re.compile(r"\b(\d+) there already and read again")
ALL_ALREADY: Final = re.compile(r"^(?:all were )?there already")
EQUAL: Final = "equal to the card's"
STILL: Final = re.compile(
    r"^(\d+) files? that (?:was|were) to be moved (?:is|are) still on the card", re.MULTILINE
)
NO_FILES: Final = "There is no file on the card: "
GOES_ON: Final = "going on with the ingest of "
NOT_READ: Final = "What earlier runs moved was not read now"
# of a verification, once for each folder
CHECKED: Final = re.compile(
    r"^(\d+) of (\d+) files? verified in (.*?)(?:, (\d+) of them moved by you)?\.(?: |$)",
    re.MULTILINE,
)
ON_CARD: Final = re.compile(
    r"^(\d+) of (\d+) files? on the card are in the shoot, equal byte by byte", re.MULTILINE
)
# of an undo
REMOVED: Final = re.compile(r"^(\d+) cop(?:y|ies) removed from the shoot", re.MULTILINE)
RETURNED: Final = re.compile(r"\b(\d+) files? moved back to ")
MORE: Final = re.compile(r"^ +and (\d+) more", re.MULTILINE)


@dataclass(frozen=True, slots=True, kw_only=True)
class Ended:
    """How a run ended: its command, its exit code, and all that it said.

    other: the folder of the second copy, as it is said.
    """

    command: str
    code: int
    said: str
    other: str

    @property
    def undoes(self) -> bool:
        """Whether it was to take an ingest back."""
        return self.command == "undo"


@dataclass(frozen=True, slots=True, kw_only=True)
class Scene:
    """A run's end, what lay where before it, what lies where now, and what was on the card."""

    ended: Ended
    before: State
    after: State
    known: Known

    @property
    def left(self) -> int:
        """How many of the card's files were on it before and are not there any more."""
        return sum(path not in self.after.card for path in self.before.card)


def misleading(scene: Scene) -> list[str]:
    """Every sentence that what lies on the disks contradicts, with what does; and what was not said."""
    return [said for look in _LOOKS for said in look(scene)]


def is_all_verified(ended: Ended, *, other: bool = False) -> bool:
    """Whether the words call every file verified: in the second copy, or in the shoot."""
    patterns = (SECOND,) if other else (VERIFIED,)
    found = [match for pattern in patterns for match in pattern.finditer(ended.said)]
    found += [each for each in CHECKED.finditer(ended.said) if (each[3] == ended.other) == other]
    return bool(found) and all(int(each[1]) == int(each[2]) > 0 for each in found)


# ---- one kind of sentence each -----------------------------------------------------------------


def _verified(scene: Scene) -> Iterator[str]:
    """No more files are called verified than are whole, and no fewer are spoken of than the card has."""
    for match in VERIFIED.finditer(scene.ended.said):
        yield from _counted(match, scene.after.shoot, scene.known)
        if int(match[2]) < len(scene.after.card):
            yield f"{match[0]!r}, and the card has {len(scene.after.card)} files"


def _second(scene: Scene) -> Iterator[str]:
    for match in SECOND.finditer(scene.ended.said):
        yield from _counted(match, scene.after.other, scene.known)


def _checked(scene: Scene) -> Iterator[str]:
    for match in CHECKED.finditer(scene.ended.said):
        is_other = match[3] == scene.ended.other
        copy = scene.after.other if is_other else scene.after.shoot
        yield from _counted(match, copy, scene.known, moved=int(match[4] or 0))


def _on_card(scene: Scene) -> Iterator[str]:
    card, copy = scene.after.card, scene.after.shoot
    there = _held(scene, copy)
    held = sum(digest in there for digest in card.values())
    for match in ON_CARD.finditer(scene.ended.said):
        if int(match[1]) > held or int(match[2]) < len(card):
            yield f"{match[0]!r}, and of {len(card)} on the card the shoot holds {held}"


def _held(scene: Scene, copy: Copy) -> set[str]:
    """The digests that the copy holds: in their places, and elsewhere where the run said that it sought there."""
    sought = any(match[4] for match in CHECKED.finditer(scene.ended.said))
    return set((copy.there if sought else copy.whole).values())


def _counted(match: re.Match[str], copy: Copy, known: Known, *, moved: int = 0) -> Iterator[str]:
    """moved: how many are said to lie elsewhere in the copy: their bytes are to be there then."""
    whole = sum(digest in known.ever for digest in copy.whole.values())
    there = Counter(copy.listed.values()) & Counter(copy.there.values())
    elsewhere = sum(number for digest, number in there.items() if digest in known.ever) - whole
    whole += min(moved, elsewhere)
    if int(match[1]) > whole:
        yield f"{match[0]!r}, and {whole} are whole"
    if int(match[1]) == int(match[2]) and len(copy.listed) == int(match[2]) > whole:
        yield f"{match[0]!r}, and of {len(copy.listed)} that are listed {whole} are whole"


def _formatted(scene: Scene) -> Iterator[str]:
    """Two copies exist, or the card may be formatted, only where both hold all that it has or had."""
    said = scene.ended.said
    spoken = FORMAT if FORMAT in said and TWO in said else TWO if TWO in said else ""
    if not spoken:
        return
    wanted = answerable(scene)
    for name, copy in (("shoot", scene.after.shoot), ("second copy", scene.after.other)):
        whole = _held(scene, copy)
        lacking = [path for path, digest in wanted.items() if digest not in whole]
        if lacking:
            yield f"{spoken!r}, and {len(lacking)} are not whole in the {name}: {lacking[0]}"


def _moved(scene: Scene) -> Iterator[str]:
    for match in VERIFIED.finditer(scene.ended.said):
        part, whole = PART_MOVED.match(match[3]), ALL_MOVED.match(match[3])
        moved = int(part[1]) if part else int(whole[1] or match[1]) if whole else 0
        gone = len(scene.known.once.keys() - scene.after.card.keys())
        if moved > gone:
            yield f"{match[0]!r}, and {gone} are off the card"
        if part and part[3] and int(part[2]) > len(scene.after.card):
            yield f"{match[0]!r}, and the card has {len(scene.after.card)} files"
        if match[3].startswith("copied and read back") and scene.left:
            yield f"{match[0]!r}, and {scene.left} went off the card"
    for still in STILL.finditer(scene.ended.said):
        if int(still[1]) > len(scene.after.card):
            yield f"{still[0]!r}, and the card has {len(scene.after.card)} files"
    if NO_FILES in scene.ended.said and scene.after.card:
        yield f"{NO_FILES!r}, and it has {len(scene.after.card)}"


def _already(scene: Scene) -> Iterator[str]:
    """What was there already was whole before this run."""
    whole = sum(digest in scene.known.ever for digest in set(scene.before.shoot.there.values()))
    for match in VERIFIED.finditer(scene.ended.said):
        part = ALREADY.search(match[3])
        there = int(part[1]) if part else int(match[1]) if ALL_ALREADY.match(match[3]) else 0
        if there > whole:
            yield f"{match[0]!r}, and {whole} were whole there before"


def _equal(scene: Scene) -> Iterator[str]:
    """So many of the card's files have their bytes in the shoot, listed under their paths."""
    after = scene.after
    for match in VERIFIED.finditer(scene.ended.said):
        same = sum(
            any(
                after.shoot.whole.get(place) == digest
                for place in after.shoot.sources.get(path, ())
            )
            for path, digest in {**scene.known.once, **after.card}.items()
        )
        if EQUAL in match[3] and int(match[1]) > same:
            yield f"{match[0]!r}, and {same} are"


def _undone(scene: Scene) -> Iterator[str]:
    before, after = scene.before, scene.after
    back = sum(after.card.get(path) == digest for path, digest in scene.known.once.items())
    went = (Counter(before.shoot.there.values()) - Counter(after.shoot.there.values())).total()
    for match in RETURNED.finditer(scene.ended.said):
        if int(match[1]) > back:
            yield f"{match[0]!r}, and {back} are on the card"
    for match in REMOVED.finditer(scene.ended.said):
        if int(match[1]) > went:
            yield f"{match[0]!r}, and {went} went from the shoot"


# ---- what is not said --------------------------------------------------------------------------


def answerable(scene: Scene) -> dict[str, str]:
    """What the run has to answer for: paths on the card with their digests.

    All that ever was on it. But an ingest that goes on with none begins anew, with what the card has.
    """
    once = {**scene.known.once, **scene.after.card}
    if scene.ended.command != "ingest" or GOES_ON in scene.ended.said:
        return once
    return {path: one for path, one in once.items() if path in scene.before.card}


def lacking(scene: Scene) -> dict[str, str]:
    """What is not as the work was to leave it: paths on the card with their digests.

    Not on the card after an undo; else not whole in every copy that is to exist.
    """
    once = answerable(scene)
    if scene.ended.undoes:
        return {path: one for path, one in once.items() if scene.after.card.get(path) != one}
    copies = [set(copy.whole.values()) for copy in scene.known.copies(scene.after)]
    return {path: one for path, one in once.items() if not all(one in copy for copy in copies)}


def lost_for_good(scene: Scene) -> dict[str, str]:
    """What of that is not on the card either, nor whole in any copy."""
    held = {*scene.after.card.values(), *scene.after.shoot.there.values()}
    held |= set(scene.after.other.there.values())
    return {path: one for path, one in lacking(scene).items() if one not in held}


def _unsaid(scene: Scene) -> Iterator[str]:
    """What is lacking is named, and the exit code is not 0.

    Where names were left out, as there are too many of them, their number is said. Where the card is
    empty, and nothing is read, that is said.
    """
    missing = lacking(scene)
    if NO_FILES in scene.ended.said and NOT_READ not in scene.ended.said:
        yield f"{NO_FILES!r}, and not that what was moved before is not looked at"
    if missing and scene.ended.code == 0:
        yield f"exit code 0, and {len(missing)} are not where they are to be: {min(missing)}"
    left_out = sum(map(int, MORE.findall(scene.ended.said)))
    unnamed = [path for path in missing if not _is_named(path, scene)]
    if len(unnamed) > left_out:
        yield f"nothing is said of {len(unnamed)} that are not where they are to be: {unnamed[0]}"


def _is_named(path: str, scene: Scene) -> bool:
    """By its path on the card, or by its place in a copy."""
    return path.rpartition("/")[2] in scene.ended.said or any(
        place in scene.ended.said
        for copy in (scene.after.shoot, scene.after.other, scene.before.shoot, scene.before.other)
        for place in copy.sources.get(path, ())
    )


def _unknown(scene: Scene) -> Iterator[str]:
    """A run that ended said at least one sentence that is known here."""
    known = (VERIFIED, CHECKED, REMOVED, RETURNED)
    said = scene.ended.said
    if (
        scene.ended.code in FINISHED
        and NO_FILES not in said
        and not any(e.search(said) for e in known)
    ):
        yield f"exit code {scene.ended.code}, and no sentence that is known here: {said[-200:]!r}"


_LOOKS: Final[tuple[Callable[[Scene], Iterator[str]], ...]] = (
    _verified,
    _second,
    _checked,
    _on_card,
    _formatted,
    _moved,
    _already,
    _equal,
    _undone,
    _unsaid,
    _unknown,
)
