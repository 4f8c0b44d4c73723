from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from pathlib import Path
from typing import Any, cast

import pytest
from hypothesis import given
from hypothesis import strategies as st

from handoff.pools import entry
from sorter.cli import endings
from sorter.cli.layout import Printed
from sorter.errors import NoRoom
from sorter.model.advice import DiskLayout
from sorter.model.card import Drift, Listing
from sorter.model.compared import Compared
from sorter.model.correction import Correction
from sorter.model.damage import Damage
from sorter.model.disks import Apart
from sorter.model.operation import OperationState
from sorter.model.plan import ContentCheck, Entry, Placement, State, WhyNotRemoved
from sorter.pipeline import (
    BackupReport,
    Findings,
    IngestOptions,
    IngestPlan,
    Report,
    Undone,
    Verified,
)
from sorter.writing.ledger import IngestRun

SHOOT = Path("/home/ada/pool")
FORMAT = "Before you format the card: "
KEEP = "Do not format the card"


def entries(count: int, state: State = State.PLACED, start: int = 1) -> tuple[Entry, ...]:
    """Files of the rock pool, numbered."""
    return tuple(
        replace(entry(f"singles/IMG_{number:04d}.JPG", state=state), number=number)
        for number in range(start, start + count)
    )


def failed(number: int) -> Entry:
    (one,) = entries(1, State.FAILED, number)
    said = ("cannot be read: Input/output error",)
    row = replace(one.row, destination="", sha256="")
    return replace(one, placement=replace(one.placement, row=row, carrying_notes=said))


def lines(report: Report) -> list[str]:
    return [line.text for line in endings.ingested(report, SHOOT)]


def sentence(report: Report) -> str:
    (found,) = [line for line in lines(report) if " verified: " in line]
    return found


APART = DiskLayout(card_shoot=Apart.TWO, card_backup=Apart.TWO, shoot_backup=Apart.TWO)


def held(
    entries: Iterable[Entry], how: ContentCheck = ContentCheck.SURE
) -> dict[int, ContentCheck]:
    """All of them were read back."""
    return {entry.number: how for entry in entries}


def report(entries: tuple[Entry, ...], **about: object) -> Report:
    """What is in its place was read back, and the card, on another disk, is as it was."""
    edited = cast("tuple[Entry, ...]", about.get("edited", ()))
    known = {"held": held(each for each in entries if each not in edited)}
    return Report(entries=entries, drift=Drift(), places=APART, **{**known, **about})  # type: ignore[arg-type]


FOUR = entries(4)
WHOLE = report(FOUR, new=FOUR)
GIVEN = tuple(replace(each, moves=True, gone=True) for each in FOUR)
MOVED = report(GIVEN, new=GIVEN, gone=GIVEN, moves=True)
LOCKED = replace(MOVED, gone=(), kept=tuple((each, WhyNotRemoved.LOCKED) for each in GIVEN))
HALF_LOCKED = replace(MOVED, gone=GIVEN[:3], kept=((GIVEN[3], WhyNotRemoved.LOCKED),))
EIGHT = (*FOUR, *(replace(each, number=each.number + 4) for each in GIVEN))
MOVED_MORE = report(EIGHT[:6], new=EIGHT[4:6], gone=EIGHT[4:6], twice=held(FOUR), moves=True)
MORE_LOCKED = replace(MOVED_MORE, gone=EIGHT[4:5], kept=((EIGHT[5], WhyNotRemoved.LOCKED),))
AGAIN = report(FOUR, twice=held(FOUR))
MORE = report(FOUR, new=FOUR[3:], twice=held(FOUR[:3]))
REREAD = report(FOUR, new=FOUR, twice=held(FOUR))
FROM_MEMORY = report(FOUR, twice=held(FOUR, ContentCheck.PERHAPS))
PARTLY = report((*FOUR[:3], failed(4)), new=FOUR[:3], failed=(failed(4),))
NOTHING = report((failed(1),), failed=(failed(1),))
STILL_NOT = report((*FOUR[:3], failed(4)), failed=(failed(4),), twice=held(FOUR[:3]))
ADDED_PARTLY = report((*FOUR[:3], failed(4)), new=FOUR[2:3], failed=(failed(4),))
EDITED = report(FOUR, edited=FOUR[:1], twice=held(FOUR))
CLOSED = report(FOUR, new=FOUR, closed=("DCIM/102TIDES",))
LINKED = report((*FOUR, *entries(1, State.LEFT, 5)), new=FOUR)
UNSURE = report(FOUR, new=FOUR, held=held(FOUR, ContentCheck.PERHAPS))
EQUAL = "equal to the card's byte by byte, read past the cache."
ONCE = "as the card gave it, read once."


@pytest.mark.parametrize(
    ("report", "said"),
    [
        (WHOLE, f"4 of 4 files verified: copied and read back, {ONCE}"),
        (REREAD, f"4 of 4 files verified: copied and read back, and {EQUAL}"),
        (MOVED, f"4 of 4 files verified: moved, and {EQUAL}"),
        (LOCKED, f"4 of 4 files verified: copied and read back, {ONCE}"),
        (HALF_LOCKED, f"4 of 4 files verified: 3 moved, 1 copied and still on the card, {ONCE}"),
        (MOVED_MORE, f"6 of 6 files verified: 2 moved now, 4 there already and read again, and {EQUAL}"),
        (MORE_LOCKED, f"6 of 6 files verified: 2 carried now (1 moved, 1 copied and still on the card), 4 there already and read again, {ONCE}"),
        (AGAIN, f"4 of 4 files verified: all were there already, and {EQUAL}"),
        (FROM_MEMORY, "4 of 4 files verified: all were there already, and equal to the card's, which was read perhaps from memory."),
        (MORE, f"4 of 4 files verified: 1 copied and read back now, 3 there already and read again, {ONCE}"),
        (PARTLY, f"3 of 4 files verified: copied and read back, {ONCE}"),
        (NOTHING, "0 of 1 file verified: none is in the shoot."),
        (STILL_NOT, f"3 of 4 files verified: there already, and {EQUAL}"),
        (ADDED_PARTLY, f"3 of 4 files verified: 1 copied and read back now, 2 there already and read again, {ONCE}"),
        (EDITED, f"3 of 4 files verified: there already, and {EQUAL}"),
        (UNSURE, f"4 of 4 files verified: copied and read back, {ONCE} 4 files were read back perhaps from memory."),
    ],
)  # fmt: skip
def test_how_many_are_verified_and_how(report: Report, said: str) -> None:
    assert sentence(report) == said


def test_what_was_not_read_back_in_this_run_is_not_verified() -> None:
    assert sentence(replace(WHOLE, held={})) == "0 of 4 files verified: none is in the shoot."
    assert sentence(replace(AGAIN, held=held(FOUR[:1]))).startswith("1 of 4 files verified")


@pytest.mark.parametrize("report", [WHOLE, AGAIN, MORE, LOCKED])
def test_a_whole_copy_asks_for_a_second_one_before_the_card_is_formatted(report: Report) -> None:
    said = "\n".join(lines(report))
    assert FORMAT in said
    assert "`sha256sum -c SHA256SUMS`" in said
    assert KEEP not in said


@pytest.mark.parametrize(
    "report", [PARTLY, NOTHING, STILL_NOT, ADDED_PARTLY, EDITED, CLOSED, LINKED]
)
def test_a_card_that_is_not_all_in_the_shoot_is_not_to_be_formatted(report: Report) -> None:
    for each in (report, replace(report, moves=True)):
        said = "\n".join(lines(each))
        assert KEEP in said
        assert FORMAT not in said


def test_what_was_moved_asks_for_a_second_copy_too_for_it_is_nowhere_else() -> None:
    for each in (MOVED, HALF_LOCKED):
        said = "\n".join(lines(each))
        assert "nowhere else now; make a second copy" in said
        assert KEEP not in said


def test_what_a_locked_card_keeps_is_not_said_to_be_moved() -> None:
    said = "\n".join(lines(LOCKED))
    assert "moved" not in said.replace("4 files that were to be moved are still on the card", "")
    assert "nowhere else" not in said


@pytest.mark.parametrize("why", WhyNotRemoved)
def test_how_many_files_stay_on_the_card_is_said_with_the_reason(why: WhyNotRemoved) -> None:
    kept = ((GIVEN[0], why), (GIVEN[1], why))
    told = lines(replace(MOVED, gone=GIVEN[2:], kept=kept))
    (place,) = [n for n, line in enumerate(told) if line.startswith("2 files that were to be")]
    assert told[place].endswith(endings.STAY[why])
    assert told[place + 1 : place + 3] == [f"  {each.row.source}" for each in GIVEN[:2]]


states = st.sampled_from([State.PLACED, State.FAILED, State.LEFT])


@given(
    st.lists(st.tuples(states, st.booleans()), min_size=1, max_size=6), st.booleans(), st.booleans()
)
def test_the_caution_stands_where_all_is_verified_and_copied_and_nowhere_else(
    files: list[tuple[State, bool]], moves: bool, closed: bool
) -> None:
    known = [replace(entries(1, state, n)[0], moves=moves) for n, (state, _) in enumerate(files, 1)]
    new = [e for e, (state, now) in zip(known, files, strict=True) if now and state is State.PLACED]
    placed = [each for each in known if each.state is State.PLACED]
    report = Report(
        entries=tuple(known),
        new=tuple(new),
        gone=tuple(each for each in new if moves),
        held=held(placed),
        drift=Drift(),
        places=APART,
        moves=moves,
        closed=("DCIM/X",) if closed else (),
    )
    whole = not closed and all(state is State.PLACED for state, _ in files)
    said = "\n".join(lines(report))
    assert (FORMAT in said) == whole
    assert (KEEP in said) == (not whole)


def test_folders_stand_in_a_table_with_their_files_and_sizes() -> None:
    found = list(endings.ingested(WHOLE, SHOOT))
    assert found[0] == Printed(text="folder   files   size", style="heading")
    assert found[1].text == "singles      4  116 B"


def test_troubles_are_named_with_their_reasons() -> None:
    one, two, three, four = FOUR
    unread = replace(
        one, placement=replace(one.placement, unread=True, carrying_notes=("no picture in it",))
    )
    report = Report(
        entries=(unread, two, three, four, failed(5)),
        failed=(failed(5),),
        edited=(two,),
        changed=(three,),
        kept=((four, WhyNotRemoved.CHANGED),),
        drift=Drift(new=("DCIM/100TIDES/IMG_0009.JPG",), vanished=("MISC/a.txt",)),
        thrown=(".Trashes/501/IMG_0001.JPG",),
        lost=(one,),
        closed=("DCIM/\x1b102TIDES",),
    )
    said = lines(report)
    for heading, name in (
        ("could not be carried", "DCIM/100TIDES/IMG_0005.JPG: cannot be read: Input/output error"),
        ("folders of the card that cannot be listed", "DCIM/\\x1b102TIDES/"),
        ("could not be read as pictures", "DCIM/100TIDES/IMG_0001.JPG: no picture in it"),
        ("edited in the shoot", "singles/IMG_0002.JPG"),
        ("changed in the shoot", "singles/IMG_0003.JPG"),
        (
            "1 file that was to be moved is still on the card: it holds",
            "DCIM/100TIDES/IMG_0004.JPG",
        ),
        ("came onto the card while", "DCIM/100TIDES/IMG_0009.JPG"),
        ("went from the card while", "MISC/a.txt"),
        ("in a trash or system folder on the card", ".Trashes/501/IMG_0001.JPG"),
        ("MISSING OR CHANGED in the shoot", "singles/IMG_0001.JPG"),
    ):
        (place,) = [n for n, line in enumerate(said) if line.startswith(heading)]
        assert said[place + 1] == f"  {name}"


# ---- before the work ------------------------------------------------------------------------


def _plan(waiting: Iterable[Placement] = (), there: int = 0, **about: object) -> IngestPlan:
    """A plan that carries these, of a card of which so many files are there already."""
    known = [(each.row.source, each) for each in entries(there, start=50)]
    compared = Compared(there=tuple(known), held=tuple(held(e for _, e in known).items()))
    whole: dict[str, Any] = {"placements": tuple(waiting), "compared": compared, **about}
    return IngestPlan(card=Path("/media/card"), shoot=SHOOT, **whole)


MOVING = IngestOptions(moves=True)
WAITING = tuple(each.placement for each in entries(2))
STOPPED = IngestRun(run=1, card="/media/card", mounted=True, moves=False, state=OperationState.OPEN)


@pytest.mark.parametrize(
    ("lines", "said"),
    [
        (0, []),
        (1, ["corrections, line 2: these frames"]),
        (2, ["corrections, lines 2, 3: these frames"]),
        (22, ["20, 21 and 2 more: these frames"]),
    ],
)
def test_corrections_that_come_too_late_are_named_by_their_lines(
    lines: int, said: list[str]
) -> None:
    late = tuple(Correction(first="A", last="A", line=line) for line in range(2, lines + 2))
    found = list(endings.too_late(late))
    assert len(found) == len(said)
    assert all(words in text for words, text in zip(said, found, strict=True))


def test_nothing_is_said_before_a_first_ingest() -> None:
    assert list(endings.beforehand(_plan(WAITING))) == []


@pytest.mark.parametrize(
    ("plan", "said"),
    [
        (
            _plan(WAITING, there=1),
            "1 file is in the shoot already, byte by byte; 2 files (58 B) missing.",
        ),
        (
            _plan(there=4),
            "4 files are in the shoot already, byte by byte; nothing is missing.",
        ),
        (
            _plan(resumed=entries(1, State.PLANNED), goes_on=STOPPED),
            (
                "going on with the ingest of /media/card that was stopped: 1 file (29 B) left. "
                "Its plan is kept as it was, whatever the options say now."
            ),
        ),
    ],
)
def test_what_is_there_already_is_said_first(plan: IngestPlan, said: str) -> None:
    assert list(endings.beforehand(plan)) == [said]


def test_a_dry_run_ends_with_the_sum_and_says_that_nothing_was_written() -> None:
    link = replace(WAITING[0], row=replace(WAITING[0].row, destination=""))
    said = [line.text for line in endings.planned(_plan((*WAITING, link)))]
    assert said[:3] == [
        "/home/ada/pool",
        "└── singles/  2 files, 58 B",
        "    └── IMG_0001.JPG IMG_0002.JPG  2 files",
    ]
    assert "  DCIM/100TIDES/IMG_0001.JPG" in said
    assert said[-1] == "2 files (58 B) to copy. This was a dry run: nothing was written."


def test_a_dry_run_names_what_could_not_be_read_with_its_reason_and_no_reason_twice() -> None:
    one, two = (replace(each, unread=True) for each in WAITING)
    empty = replace(
        one,
        row=replace(one.row, remarks=(Damage.EMPTY,), bytes=0),
        carrying_notes=("named B here",),
    )
    about = replace(two.row, destination="", remarks=("a link: not followed",))
    link = replace(two, row=about, carrying_notes=("left on the card",))
    listing = Listing(files=(), folders_closed=("DCIM/102",))
    plan = _plan((link,), updated=((1, empty),), listing=listing)
    said = [line.text for line in endings.planned(plan)]
    assert said[:8] == [
        "left on the card (no plain files)",
        "  DCIM/100TIDES/IMG_0002.JPG: a link: not followed",
        "",
        "cannot be read as pictures; carried as they are",
        "  DCIM/100TIDES/IMG_0001.JPG: the file is empty",
        "",
        "folders of the card that cannot be listed: what is in them is not in the shoot",
        "  DCIM/102/",
    ]


def test_a_move_says_how_many_files_an_earlier_ingest_leaves_on_the_card() -> None:
    said = list(endings.beforehand(_plan(there=2, options=MOVING)))
    assert said[1] == (
        "2 files stay on the card, carried by an earlier ingest: --move takes off it only what it "
        "carries itself."
    )
    assert len(list(endings.beforehand(_plan(WAITING, options=MOVING)))) == 0


def test_a_dry_run_of_a_move_says_move() -> None:
    *_, last = endings.planned(_plan(WAITING, options=MOVING))
    assert last.text.startswith("2 files (58 B) to move. ")


# ---- the second copy ------------------------------------------------------------------------

OTHER = Path("/media/second/pool")
COPY = BackupReport(folder=OTHER, entries=FOUR, new=FOUR, held=held(FOUR))
FULL_THERE = NoRoom("/media/second/pool: the disk is full.")
STOPPED_THERE = replace(
    COPY, entries=(*FOUR[:3], failed(4)), held=held(FOUR[:3]), failure=FULL_THERE
)
MAY = "Two verified copies exist now, on two disks that are not the card's: the card may be formatted."
FOUR_THERE = "Second copy: 4 of 4 files verified in /media/second/pool."
NOT_THERE = "not everything is in the second copy: {} not verified there."


@pytest.mark.parametrize(
    ("report", "said"),
    [
        (replace(WHOLE, backup=COPY), [FOUR_THERE, MAY]),
        (replace(MOVED, backup=COPY), [FOUR_THERE, MAY]),
        (
            replace(WHOLE, backup=COPY, places=replace(APART, shoot_backup=Apart.ONE)),
            [
                FOUR_THERE,
                (
                    "Before you format the card: both copies lie on one disk, and would be lost with "
                    "it. Format it only when two verified copies exist, on two "
                    "disks that are not the card's."
                ),
            ],
        ),
        (
            replace(WHOLE, backup=COPY, places=replace(APART, shoot_backup=Apart.UNKNOWN)),
            [
                FOUR_THERE,
                (
                    "Two verified copies exist now. The system cannot tell whether the two copies lie "
                    "on two disks: be sure of that yourself before you format the card."
                ),
            ],
        ),
        (
            replace(WHOLE, backup=STOPPED_THERE),
            [
                "Second copy: 3 of 4 files verified in /media/second/pool. It stopped there.",
                "Do not format the card: the work on the second copy was stopped; "
                + NOT_THERE.format("1 file was"),
            ],
        ),
        (
            replace(WHOLE, backup=replace(COPY, entries=(), held={}, failure=FULL_THERE)),
            [
                "Second copy: nothing is in /media/second/pool: it could not be begun.",
                "Do not format the card: the work on the second copy was stopped; "
                + NOT_THERE.format("4 files were"),
            ],
        ),
        (
            replace(
                WHOLE, held={}, backup=COPY, failure=NoRoom("/home/ada/pool: the disk is full.")
            ),
            [
                FOUR_THERE,
                (
                    "Do not format the card: the work in the shoot was stopped; not everything is in "
                    "the shoot: 4 files were not verified there."
                ),
            ],
        ),
        (
            replace(WHOLE, backup=replace(COPY, edited=FOUR[:1], held=held(FOUR[1:]))),
            [
                "Second copy: 3 of 4 files verified in /media/second/pool.",
                "Do not format the card: " + NOT_THERE.format("1 file was"),
            ],
        ),
    ],
)
def test_the_last_lines_say_what_exists_where(report: Report, said: list[str]) -> None:
    assert lines(report)[-2:] == said


def test_what_only_the_second_copy_lacks_is_named() -> None:
    second = replace(COPY, entries=(*FOUR[:3], failed(4)), failed=(failed(4),))
    told = lines(replace(WHOLE, backup=second))
    assert told[told.index("not in the second copy") + 1].startswith("  DCIM/100TIDES/IMG_0004.JPG")
    told = lines(replace(PARTLY, backup=second))
    assert "not in the second copy" not in told


def test_what_was_mended_is_told_of_each_and_what_could_not_be() -> None:
    one, two = _found(4), _found(4)
    two.altered[4] = two.sound.pop(4)
    one.mended.append("singles/IMG_0001.JPG")
    both = (
        Verified(folder=SHOOT, findings=one, unmended={}, aside=(".sorter/replaced/1_1_A.JPG",)),
        Verified(folder=OTHER, findings=two, unmended={"singles/IMG_0004.JPG": "cannot be read"}),
    )
    told = [line.text for line in endings.both_verified(both, mends=True)]
    assert told[:2] == ["mended in /home/ada/pool", "  singles/IMG_0001.JPG"]
    assert "  .sorter/replaced/1_1_A.JPG" in told
    assert "  singles/IMG_0004.JPG: cannot be read" in told
    assert "4 of 4 files verified in /home/ada/pool." in told
    assert "3 of 4 files verified in /media/second/pool." in told
    *_, last = endings.both_verified(both, mends=False)
    assert last.text == "Give --mend to copy what one of them lacks from the other."


# ---- verify and undo ------------------------------------------------------------------------


def _found(count: int) -> Findings:
    return Findings(sound={entry.number: entry for entry in entries(count)})


def test_a_shoot_as_it_was_carried_needs_one_line() -> None:
    found = [line.text for line in endings.verified(_found(4), SHOOT)]
    assert found == ["4 of 4 files verified in /home/ada/pool."]


def test_what_is_missing_or_changed_is_named_before_the_sum() -> None:
    findings = _found(6)
    findings.lost[5], findings.altered[6] = findings.sound.pop(5), findings.sound.pop(6)
    findings.added.append("notes.txt")
    found = [line.text for line in endings.verified(findings, SHOOT)]
    assert found[:2] == ["MISSING", "  singles/IMG_0005.JPG"]
    assert found[found.index("CHANGED") + 1] == "  singles/IMG_0006.JPG"
    assert "4 of 6 files verified in /home/ada/pool." in found
    assert found[-1].startswith("Copy what is named above from the card")


@pytest.mark.parametrize(
    ("outcome", "said"),
    [
        (Undone(removed=1), "1 copy removed from the shoot."),
        (Undone(removed=0), "0 copies removed from the shoot."),
        (Undone(returned=3), "3 files moved back to /media/card."),
        (
            Undone(removed=2, returned=1),
            "2 copies removed from the shoot, 1 file moved back to /media/card.",
        ),
        (Undone(moved_within=1), "The last regrouping is taken back: 1 file moved."),
    ],
)
def test_an_undo_says_what_went_where(outcome: Undone, said: str) -> None:
    assert [line.text for line in endings.undone(outcome, SHOOT, Path("/media/card"))] == [said]


def test_what_an_undo_leaves_is_named_with_the_reason() -> None:
    outcome = Undone(removed=1, stay={"singles/A.JPG": "changed since it was carried"})
    found = [line.text for line in endings.undone(outcome, SHOOT, Path("/media/card"))]
    assert found[:2] == ["stay in /home/ada/pool", "  singles/A.JPG: changed since it was carried"]
