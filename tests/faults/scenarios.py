"""What is cut: small cards of a rock pool on one disk or two, carried, carried again, taken back.

A scenario is what comes before, the work that is cut, what is run after the cut, and what must hold
then. Add one to SCENARIOS and every cut of it is tried.
"""

from __future__ import annotations

import shutil
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass, field
from pathlib import Path
from typing import Final

import pytest

from faults.dying import died
from sorter.errors import BadShoot
from sorter.model.kinds import Kind
from sorter.pipeline import Verification, verify_both
from sorter.writing import carry
from writing.cards import (
    ANEMONES,
    LIMPETS,
    contents,
    found,
    hold_whole,
    ingest,
    limpets,
    picture,
    rows,
    stamped,
    undo,
)
from writing.faults import other_devices, other_disks
from writing.regrouping import regrouped, sequences, wish

BATCH: Final = 3
"""Files between two notes, so that there are several batches of a small card."""
HALF: Final = 14
"""Of an undo: some files are back on the card then, and some are not."""


@dataclass(slots=True, kw_only=True)
class Pool:
    """Where a scenario takes place; its paths are the same for every cut.

    originals: what was on the card at any time. before: what was in the shoot and is to be again.
    strange: bytes of no file of the card, which a scenario put there.
    """

    base: Path
    originals: dict[str, bytes] = field(default_factory=dict)
    before: dict[str, bytes] = field(default_factory=dict)
    strange: frozenset[bytes] = frozenset()

    @property
    def disk(self) -> Path:
        """The disk that dies, or both of them."""
        return self.base / "disk"

    @property
    def card(self) -> Path:
        """The card."""
        return self.disk / "card"

    @property
    def shoot(self) -> Path:
        """The shoot."""
        return self.disk / "shoot"

    @property
    def other(self) -> Path:
        """The second copy."""
        return self.disk / "other"

    @property
    def original(self) -> Path:
        """A copy of all that was on the card at any time."""
        return self.base / "original"

    @property
    def scratch(self) -> Path:
        """Where the child tells what it knows; no part of the disk that dies."""
        return self.base / "scratch"


Step = Callable[[Pool], object]


def _nothing(_: Pool) -> None: ...


@dataclass(frozen=True, slots=True, kw_only=True)
class Scenario:
    """One kind of work.

    prepare: done before, whole. work: cut. finish: run after the cut, the same again where none is
    given. holds: what must be so then. disk: how the disks of card and shoot are. ended: what
    holds, without a second run, once the work has ended and whatever the disk loses then; the same
    where none is given.
    """

    work: Step
    holds: Step
    prepare: Step = _nothing
    finish: Step | None = None
    disk: Callable[[pytest.MonkeyPatch], None] = lambda _: None
    ended: Step | None = None

    def goes_on(self, pool: Pool) -> None:
        """What is run after the cut."""
        (self.finish or self.work)(pool)

    def lasts(self, pool: Pool) -> None:
        """What is looked at where the disk lost what it could after the end of the work."""
        (self.ended or self.holds)(pool)


# ---- cards -------------------------------------------------------------------------------------


def small_card(card: Path) -> None:
    """Two frames with sidecars, a clip, and what is no picture whatever its name says."""
    limpets(card, 2)
    (card / ANEMONES).mkdir()
    (card / ANEMONES / "MVI_0003.MP4").write_bytes(b"\0\0\0\x10ftypmp42\0\0\0\0" + b"splash" * 90)
    (card / ANEMONES / "IMG_0004.JPG").write_bytes(b"barnacles, no picture")
    stamped(card)


def more(pool: Pool) -> None:
    """The tide brought more: a frame of the same burst, and a lone one."""
    picture(pool.card / LIMPETS / "IMG_0003.JPG", 0.75, shade=70)
    picture(pool.card / ANEMONES / "IMG_0005.JPG", 900, shade=5)


def two_disks(patch: pytest.MonkeyPatch) -> None:
    """Card and shoot lie on two disks."""
    other_devices(patch)
    other_disks(patch)


def at_once(patch: pytest.MonkeyPatch) -> None:
    """All copies of a batch are forced to the disk at once."""
    patch.setattr(carry, "MANY", 2)


# ---- work --------------------------------------------------------------------------------------


def copy(pool: Pool) -> None:
    """The card copied."""
    ingest(pool.card, pool.shoot)


def move(pool: Pool) -> None:
    """The card moved."""
    ingest(pool.card, pool.shoot, moves=True)


def copy_to_two(pool: Pool) -> None:
    """The card copied, with a second copy."""
    ingest(pool.card, pool.shoot, backup=pool.other)


def move_to_two(pool: Pool) -> None:
    """The card moved, with a second copy."""
    ingest(pool.card, pool.shoot, backup=pool.other, moves=True)


def mend_both(pool: Pool) -> None:
    """Each of the two mended from the other."""
    verify_both(pool.shoot, pool.other, lambda *_: None, lambda *_: None, mends=True)


def spoiled(pool: Pool) -> None:
    """Two copies of which each has lost a file, and holds another with other bytes."""
    copy_to_two(pool)
    one, two, three = sorted(
        each for each in contents(pool.shoot) if "IMG" in each and "xmp" not in each
    )
    pool.strange = frozenset({b"barnacles", b"whelks"})
    (pool.shoot / one).unlink()
    (pool.shoot / two).write_bytes(b"barnacles")
    (pool.other / three).write_bytes(b"whelks")


def made_by_hand(pool: Pool) -> None:
    """A second copy without a ledger, of which a file is lost and another has other bytes."""
    spoiled(pool)
    shutil.rmtree(pool.other / ".sorter")
    (pool.other / min(each for each in contents(pool.other) if "xmp" in each)).unlink()


def lost(pool: Pool) -> None:
    """Moved with a second copy, and the disk of that broke."""
    move_to_two(pool)
    shutil.rmtree(pool.other)


def move_and_clear(pool: Pool) -> None:
    """The card moved, and its empty folders taken away, as cameras do when they format."""
    move(pool)
    shutil.rmtree(pool.card / "DCIM")


def grown(pool: Pool) -> None:
    """Copied, and the card grew since."""
    copy(pool)
    more(pool)


def take_back(pool: Pool) -> None:
    """The ingest taken back."""
    undo(pool.shoot)


def end_taking_back(pool: Pool) -> None:
    """The undo run again, where it left anything to undo."""
    if (pool.shoot / ".sorter" / "ledger.db").exists():
        take_back(pool)


def half_taken_back(pool: Pool) -> None:
    """Moved, and an undo was killed in its middle."""
    move(pool)
    assert died(lambda: undo(pool.shoot), HALF, pool.scratch).point == HALF


def copied_twice(pool: Pool) -> None:
    """Copied, grown, and copied again: the first ingest is to stay."""
    copy(pool)
    pool.before = contents(pool.shoot)
    more(pool)
    copy(pool)


def end_taking_back_the_second(pool: Pool) -> None:
    """The undo run again, where the shoot is not as it was before the second ingest."""
    if contents(pool.shoot) != pool.before:
        take_back(pool)


def copied_and_grown(pool: Pool) -> None:
    """Copied, with a third frame of the burst; what the shoot holds then is to be again by an undo."""
    more(pool)
    copy(pool)
    pool.before = contents(pool.shoot)


def regroup(pool: Pool) -> None:
    """A marker out of the middle of the burst, and the lone frame with another name."""
    regrouped(pool.shoot, wish(Kind.MARKER, 2), wish(Kind.SINGLE, 3))


def rearranged(pool: Pool) -> None:
    """Copied, and its owner renamed a folder, put it deeper, and changed two files' places."""
    copied_and_grown(pool)
    (pool.shoot / "west").mkdir()
    (pool.shoot / "0001_burst_3").rename(pool.shoot / "west" / "limpets")
    one, two = (pool.shoot / "west" / "limpets" / f"IMG_000{n}.JPG" for n in (1, 2))
    one.rename(pool.shoot / "between")
    two.rename(one)
    (pool.shoot / "between").rename(two)


def adopt(pool: Pool) -> None:
    """What its owner moved is noted where it lies."""
    with Verification(pool.shoot, adopts=True) as work:
        work.inspect(lambda *_: None)
        work.adopt()


def adopt_both(pool: Pool) -> None:
    """The same in two copies, and each mended from the other."""
    with Verification(pool.shoot, pool.other, adopts=True, mends=True) as work:
        work.inspect(lambda *_: None)
        work.adopt()
        work.mend(lambda *_: None)


def rearranged_and_spoiled(pool: Pool) -> None:
    """Two copies of which each has lost and spoiled files, and folders that were renamed otherwise."""
    spoiled(pool)
    (pool.shoot / "clips").rename(pool.shoot / "splash")
    (pool.other / "0001_burst_2").rename(pool.other / "limpets")


def adopted_before(pool: Pool) -> None:
    """Copied, moved by its owner, and noted so."""
    rearranged(pool)
    adopt(pool)


def given_up_before(pool: Pool) -> None:
    """Copied, moved by its owner, noted so, and that taken back: the ledger has none of these places."""
    adopted_before(pool)
    take_back(pool)


def end_giving_up(pool: Pool) -> None:
    """The undo run again, where the adoption was not taken back; the ingest is to stay."""
    if not found(pool.shoot).moved:
        take_back(pool)


def regrouped_before(pool: Pool) -> None:
    """Copied and regrouped."""
    copied_and_grown(pool)
    regroup(pool)


def end_taking_back_the_regrouping(pool: Pool) -> None:
    """The undo run, where the shoot is not as it was before the regrouping."""
    with suppress(BadShoot):  # cut before anything was noted: nothing is there to take back
        found(pool.shoot)
        if contents(pool.shoot) == pool.before and sequences(pool.shoot) == AS_INGESTED:
            return
    take_back(pool)


# ---- what holds --------------------------------------------------------------------------------


def is_copied(pool: Pool) -> None:
    """Everything is in the shoot once, and the card is as it was."""
    _is_whole(pool)
    assert contents(pool.card) == pool.originals, "the card is not as it was"


def is_moved(pool: Pool) -> None:
    """Everything is in the shoot once, and the card holds nothing any more."""
    _is_whole(pool)
    assert contents(pool.card) == {}, "the card is not empty"


def is_taken_back(pool: Pool) -> None:
    """There is no shoot any more, and the card is as it was."""
    card_is_back(pool)
    left = [path for path in pool.shoot.rglob("*") if path.is_file()]
    assert left == [], "there is something left of the shoot"


def both_are_copied(pool: Pool) -> None:
    """Everything is in both folders once, and the card is as it was."""
    is_copied(pool)
    _is_whole(pool, pool.other)


def both_are_moved(pool: Pool) -> None:
    """Everything is in both folders once, and the card holds nothing any more."""
    is_moved(pool)
    _is_whole(pool, pool.other)


def card_is_back(pool: Pool) -> None:
    """The card is as it was. Of the shoot the disk may have kept what is of no use without it."""
    assert contents(pool.card) == pool.originals, "the card is not as it was"


def first_is_left(pool: Pool) -> None:
    """The shoot is as it was before the second ingest."""
    assert contents(pool.card) == pool.originals, "the card is not as it was"
    assert contents(pool.shoot) == pool.before, "the shoot is not as it was"


AS_INGESTED: Final = {1: ("burst", (1, 2, 3)), 2: ("single", (4,))}
REGROUPED: Final = {
    1: ("single", (1,)),
    2: ("single", (4,)),
    3: ("marker", (2,)),
    4: ("single", (3,)),
}


def is_regrouped(pool: Pool) -> None:
    """Everything is in the shoot once, in the sequences that were asked for."""
    is_copied(pool)
    assert sequences(pool.shoot) == REGROUPED, sequences(pool.shoot)
    _has_no_empty_folder(pool)


def is_adopted(pool: Pool) -> None:
    """Everything is in the shoot once, where its owner put it, and the lists say so."""
    is_copied(pool)
    places = {row.source: row.destination for row in rows(pool.shoot)}
    assert places[f"{LIMPETS}/IMG_0001.JPG"] == "west/limpets/IMG_0002.JPG", places
    assert places[f"{LIMPETS}/IMG_0001.xmp"] == "west/limpets/IMG_0001.xmp", places
    _has_no_empty_folder(pool)


def is_given_up(pool: Pool) -> None:
    """Everything is in the shoot once, where its owner put it, is said to be moved, and can be noted again."""
    assert contents(pool.card) == pool.originals, "the card is not as it was"
    findings = found(pool.shoot)
    assert (findings.good, findings.missing) == (len(pool.originals), [])
    assert len(findings.moved) > 1
    adopt(pool)
    is_adopted(pool)


def both_are_adopted(pool: Pool) -> None:
    """Everything is in both folders once, where their owner put it."""
    both_are_copied(pool)
    assert not (pool.shoot / "clips").exists()
    assert not (pool.other / "0001_burst_2").exists()


def is_as_ingested(pool: Pool) -> None:
    """Everything is in the shoot once, and its lists are as they were, byte by byte."""
    is_copied(pool)
    assert contents(pool.shoot) == pool.before, "the shoot is not as it was"
    _has_no_empty_folder(pool)


def _has_no_empty_folder(pool: Pool) -> None:
    folders = [path for path in pool.shoot.iterdir() if path.is_dir()]
    empty = [path.name for path in folders if not any(path.iterdir())]
    assert empty == [], f"folders that hold nothing: {empty}"


def _is_whole(pool: Pool, folder: Path | None = None) -> None:
    hold_whole(folder or pool.shoot, pool.originals)
    findings = found(folder or pool.shoot)
    assert not findings.has_failed, findings
    assert not findings.has_remarks, findings


def undone_after(
    prepare: Step, disk: Callable[[pytest.MonkeyPatch], None] = lambda _: None
) -> Scenario:
    """What was done before is taken back."""
    return Scenario(
        prepare=prepare,
        work=take_back,
        finish=end_taking_back,
        holds=is_taken_back,
        ended=card_is_back,
        disk=disk,
    )


SCENARIOS: Final[dict[str, Scenario]] = {
    "copy": Scenario(work=copy, holds=is_copied),
    "copy, forced at once": Scenario(work=copy, holds=is_copied, disk=at_once),
    "copy of a card that grew": Scenario(prepare=grown, work=copy, holds=is_copied),
    "move on one disk": Scenario(work=move, holds=is_moved),
    "move to another disk": Scenario(work=move, holds=is_moved, disk=two_disks),
    "two copies": Scenario(work=copy_to_two, holds=both_are_copied),
    "two copies, forced at once": Scenario(work=copy_to_two, holds=both_are_copied, disk=at_once),
    "a second copy of what the shoot has, and of more": Scenario(
        prepare=grown, work=copy_to_two, holds=both_are_copied
    ),
    "move into two copies": Scenario(work=move_to_two, holds=both_are_moved),
    "move to another disk into two copies": Scenario(
        work=move_to_two, holds=both_are_moved, disk=two_disks
    ),
    "mending of both": Scenario(prepare=spoiled, work=mend_both, holds=both_are_copied),
    "mending of a copy made by hand": Scenario(
        prepare=made_by_hand, work=mend_both, holds=both_are_copied
    ),
    "mending of a lost copy": Scenario(prepare=lost, work=mend_both, holds=both_are_moved),
    "undo of a copy": undone_after(copy),
    "undo of the second copy": Scenario(
        prepare=copied_twice,
        work=take_back,
        finish=end_taking_back_the_second,
        holds=first_is_left,
    ),
    "undo of a move on one disk": undone_after(move),
    "undo of a move to another disk": undone_after(move, two_disks),
    "undo of a move from a card without folders": undone_after(move_and_clear),
    "undo of a move from another disk without folders": undone_after(move_and_clear, two_disks),
    "regrouping": Scenario(prepare=copied_and_grown, work=regroup, holds=is_regrouped),
    "regrouping that is taken back": Scenario(
        prepare=copied_and_grown,
        work=regroup,
        finish=end_taking_back_the_regrouping,
        holds=is_as_ingested,
        ended=is_regrouped,
    ),
    "undo of a regrouping": Scenario(
        prepare=regrouped_before,
        work=take_back,
        finish=end_taking_back_the_regrouping,
        holds=is_as_ingested,
    ),
    "adoption": Scenario(prepare=rearranged, work=adopt, holds=is_adopted),
    "adoption and mending of both": Scenario(
        prepare=rearranged_and_spoiled, work=adopt_both, holds=both_are_adopted
    ),
    "regrouping of what was adopted": Scenario(
        prepare=adopted_before, work=regroup, holds=is_regrouped
    ),
    "undo of what was adopted": Scenario(
        prepare=adopted_before, work=take_back, finish=end_giving_up, holds=is_given_up
    ),
    "undo of what was moved": undone_after(given_up_before),
    "undo that was cut before": undone_after(half_taken_back),
}
