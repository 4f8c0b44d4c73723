from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, cast

import pytest
from hypothesis import given
from hypothesis import strategies as st

from handoff.pools import entry
from sorter.cli import endings
from sorter.cli.layout import Printed
from sorter.errors import NoRoom
from sorter.model.correction import Correction
from sorter.model.plan import Entry, Placement, Plan, State
from sorter.pipeline import Findings, Report, SecondCopy, Undone, Verified
from sorter.writing.ledger import Run

if TYPE_CHECKING:
    from sorter.pipeline import Ingest

SHOOT = Path("/home/ada/pool")
FORMAT = "Before you format the card: make a second copy of /home/ada/pool on another disk"
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
    return replace(one, placement=replace(one.placement, row=row, said=said))


def lines(report: Report) -> list[str]:
    return [line.text for line in endings.ingested(report, SHOOT)]


def sentence(report: Report) -> str:
    (found,) = [line for line in lines(report) if " verified: " in line]
    return found


FOUR = entries(4)
WHOLE = Report(entries=FOUR, new=FOUR)
GIVEN = tuple(replace(each, moves=True, gone=True) for each in FOUR)
MOVED = Report(entries=GIVEN, new=GIVEN, moves=True)
LOCKED = replace(MOVED, kept=GIVEN)
HALF_LOCKED = replace(MOVED, kept=GIVEN[3:])
MOVED_MORE = Report(entries=(*FOUR, *GIVEN[2:]), new=GIVEN[2:], moves=True)
MORE_LOCKED = replace(MOVED_MORE, kept=GIVEN[3:])
AGAIN = Report(entries=FOUR)
MORE = Report(entries=FOUR, new=FOUR[3:])
PARTLY = Report(entries=(*FOUR[:3], failed(4)), new=FOUR[:3], failed=(failed(4),))
NOTHING = Report(entries=(failed(1),), failed=(failed(1),))
STILL_NOT = Report(entries=(*FOUR[:3], failed(4)), failed=(failed(4),))
ADDED_PARTLY = Report(entries=(*FOUR[:3], failed(4)), new=FOUR[2:3], failed=(failed(4),))
EDITED = Report(entries=FOUR, edited=FOUR[:1])
CLOSED = Report(entries=FOUR, new=FOUR, closed=("DCIM/102TIDES",))
LINKED = Report(entries=(*FOUR, *entries(1, State.LEFT, 5)), new=FOUR)
EQUAL = "equal to the card's byte by byte."


@pytest.mark.parametrize(
    ("report", "said"),
    [
        (WHOLE, f"4 of 4 files verified: copied and read back, and {EQUAL}"),
        (MOVED, f"4 of 4 files verified: moved, and {EQUAL}"),
        (LOCKED, f"4 of 4 files verified: copied and read back, and {EQUAL}"),
        (HALF_LOCKED, f"4 of 4 files verified: 3 moved, 1 copied and still on the card, and {EQUAL}"),
        (MOVED_MORE, "6 of 6 files verified: 2 moved now, 4 there already; equal byte by byte."),
        (MORE_LOCKED, "6 of 6 files verified: 1 moved, 1 copied and still on the card, 4 there already; equal byte by byte."),
        (AGAIN, f"4 of 4 files verified: all were there already, and are {EQUAL}"),
        (MORE, "4 of 4 files verified: 1 copied and read back now, 3 there already; equal byte by byte."),
        (PARTLY, f"3 of 4 files verified: copied and read back, and {EQUAL}"),
        (NOTHING, "0 of 1 file verified: none is in the shoot."),
        (STILL_NOT, f"3 of 4 files verified: there already, {EQUAL}"),
        (ADDED_PARTLY, "3 of 4 files verified: 1 copied and read back now, 2 there already; equal byte by byte."),
        (EDITED, f"3 of 4 files verified: there already, {EQUAL}"),
    ],
)  # fmt: skip
def test_how_many_are_verified_and_how(report: Report, said: str) -> None:
    assert sentence(report) == said


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
    for report in (MOVED, HALF_LOCKED):
        said = "\n".join(lines(report))
        assert "nowhere else now: make a second copy" in said
        assert FORMAT not in said
        assert KEEP not in said


def test_what_a_locked_card_keeps_is_not_said_to_be_moved() -> None:
    said = "\n".join(lines(LOCKED))
    assert "moved" not in said.replace("to be moved, and still on the card", "")
    assert "nowhere else" not in said


states = st.sampled_from([State.PLACED, State.FAILED, State.LEFT])


@given(
    st.lists(st.tuples(states, st.booleans()), min_size=1, max_size=6), st.booleans(), st.booleans()
)
def test_the_caution_stands_where_all_is_verified_and_copied_and_nowhere_else(
    files: list[tuple[State, bool]], moves: bool, closed: bool
) -> None:
    known = [replace(entries(1, state, n)[0], moves=moves) for n, (state, _) in enumerate(files, 1)]
    new = [e for e, (state, now) in zip(known, files, strict=True) if now and state is State.PLACED]
    report = Report(
        entries=tuple(known), new=tuple(new), moves=moves, closed=("DCIM/X",) if closed else ()
    )
    whole = not closed and all(state is State.PLACED for state, _ in files)
    said = "\n".join(lines(report))
    assert (FORMAT in said) == (whole and not (moves and new))
    assert (KEEP in said) == (not whole)


def test_folders_stand_in_a_table_with_their_files_and_sizes() -> None:
    found = list(endings.ingested(WHOLE, SHOOT))
    assert found[0] == Printed(text="folder   files   size", look="heading")
    assert found[1].text == "singles      4  116 B"


def test_troubles_are_named_with_their_reasons() -> None:
    one, two, three, four = FOUR
    unread = replace(one, placement=replace(one.placement, unread=True, said=("no picture in it",)))
    report = Report(
        entries=(unread, two, three, four, failed(5)),
        failed=(failed(5),),
        edited=(two,),
        changed=(three,),
        kept=(four,),
        closed=("DCIM/\x1b102TIDES",),
    )
    said = lines(report)
    for heading, name in (
        ("could not be carried", "DCIM/100TIDES/IMG_0005.JPG: cannot be read: Input/output error"),
        ("folders of the card that cannot be listed", "DCIM/\\x1b102TIDES/"),
        ("could not be read as pictures", "DCIM/100TIDES/IMG_0001.JPG: no picture in it"),
        ("edited in the shoot", "singles/IMG_0002.JPG"),
        ("changed in the shoot", "singles/IMG_0003.JPG"),
        ("to be moved, and still on the card", "DCIM/100TIDES/IMG_0004.JPG"),
    ):
        (place,) = [n for n, line in enumerate(said) if line.startswith(heading)]
        assert said[place + 1] == f"  {name}"


# ---- before the work ------------------------------------------------------------------------


NO_PLAN = Plan(placements=())


@dataclass(kw_only=True)
class _Looked:
    """What an ingest knows before it carries anything."""

    waiting: tuple[Placement, ...] = ()
    plan: Plan = NO_PLAN
    there: int = 0
    waits_elsewhere: Run | None = None
    second: None = None
    filling: tuple[Entry, ...] = ()
    goes_on: Run | None = None
    would_move: bool = False
    too_late: tuple[Correction, ...] = ()
    unread: tuple[Placement, ...] = ()
    closed: tuple[str, ...] = ()
    shoot: Path = SHOOT


def _looked(**about: object) -> Ingest:
    return cast("Ingest", _Looked(**about))  # type: ignore[arg-type]


WAITING = tuple(each.placement for each in entries(2))
STOPPED = Run(run=1, card="/media/card", mounted=True, moves=False, state="open")


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
    found = list(endings.too_late(_looked(too_late=late)))
    assert len(found) == len(said)
    assert all(words in text for words, text in zip(said, found, strict=True))


def test_nothing_is_said_before_a_first_ingest() -> None:
    assert list(endings.beforehand(_looked(waiting=WAITING))) == []


@pytest.mark.parametrize(
    ("work", "said"),
    [
        (
            _looked(waiting=WAITING, there=1),
            "1 file is in the shoot already, byte by byte; 2 files (58 B) missing.",
        ),
        (
            _looked(there=4),
            "4 files are in the shoot already, byte by byte; nothing is missing.",
        ),
        (
            _looked(waiting=WAITING[:1], goes_on=STOPPED),
            (
                "going on with the ingest of /media/card that was stopped: 1 file (29 B) left. "
                "Its plan is kept as it was, whatever the options say now."
            ),
        ),
    ],
)
def test_what_is_there_already_is_said_first(work: Ingest, said: str) -> None:
    assert list(endings.beforehand(work)) == [said]


def test_a_dry_run_ends_with_the_sum_and_says_that_nothing_was_written() -> None:
    link = replace(WAITING[0], row=replace(WAITING[0].row, destination=""))
    plan = Plan(placements=(*WAITING, link))
    said = [line.text for line in endings.planned(_looked(waiting=WAITING, plan=plan))]
    assert said[:3] == [
        "/home/ada/pool",
        "└── singles/  2 files, 58 B",
        "    └── IMG_0001.JPG IMG_0002.JPG  2 files",
    ]
    assert "  DCIM/100TIDES/IMG_0001.JPG" in said
    assert said[-1] == "2 files (58 B) to copy. This was a dry run: nothing was written."


def test_a_dry_run_names_what_could_not_be_read_with_its_reason_and_no_reason_twice() -> None:
    one, two = (replace(each, unread=True) for each in WAITING)
    empty = replace(one, row=replace(one.row, notes="the file is empty"), said=("named B here",))
    about = replace(two.row, destination="", notes="a link: not followed")
    link = replace(two, row=about, said=("left on the card",))
    looked = _looked(unread=(empty, link), plan=Plan(placements=(link,)), closed=("DCIM/102",))
    said = [line.text for line in endings.planned(looked)]
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
    said = list(endings.beforehand(_looked(there=2, would_move=True)))
    assert said[1] == (
        "2 files stay on the card, carried by an earlier ingest: --move takes off it only what it "
        "carries itself."
    )
    assert len(list(endings.beforehand(_looked(waiting=WAITING, would_move=True)))) == 0


def test_a_dry_run_of_a_move_says_move() -> None:
    *_, last = endings.planned(_looked(waiting=WAITING, would_move=True))
    assert last.text.startswith("2 files (58 B) to move. ")


# ---- the second copy ------------------------------------------------------------------------

OTHER = Path("/media/second/pool")
COPY = SecondCopy(folder=OTHER, entries=FOUR, new=FOUR)
FULL_THERE = NoRoom("/media/second/pool: the disk is full.")
STOPPED_THERE = replace(COPY, entries=(*FOUR[:3], failed(4)), failure=FULL_THERE)


@pytest.mark.parametrize(
    ("report", "said"),
    [
        (
            replace(WHOLE, second=COPY),
            [
                "Second copy: 4 of 4 files verified in /media/second/pool.",
                (
                    "Two verified copies exist now. Where they lie on two disks the card may be formatted; "
                    "`sorter verify /home/ada/pool --backup /media/second/pool` checks both."
                ),
            ],
        ),
        (
            replace(MOVED, second=COPY),
            [
                "Second copy: 4 of 4 files verified in /media/second/pool.",
                (
                    "Two verified copies exist now, and the card keeps none. Where they lie on two disks "
                    "the card may be formatted; `sorter verify /home/ada/pool --backup "
                    "/media/second/pool` checks both."
                ),
            ],
        ),
        (
            replace(WHOLE, second=replace(COPY, beside=True)),
            [
                "Second copy: 4 of 4 files verified in /media/second/pool.",
                (
                    "Both copies lie on one disk, and would be lost with it. Before you format the card: "
                    "make a copy on another disk, and check it there with `sha256sum -c SHA256SUMS`."
                ),
            ],
        ),
        (
            replace(WHOLE, second=STOPPED_THERE),
            [
                "Second copy: 3 of 4 files verified in /media/second/pool. It stopped there.",
                "Do not format the card: not everything on it is in the second copy.",
            ],
        ),
        (
            replace(WHOLE, second=replace(COPY, entries=(), failure=FULL_THERE)),
            [
                "Second copy: nothing is in /media/second/pool: it could not be begun.",
                "Do not format the card: not everything on it is in the second copy.",
            ],
        ),
        (
            replace(NOTHING, second=COPY, failure=NoRoom("/home/ada/pool: the disk is full.")),
            [
                "Second copy: 4 of 4 files verified in /media/second/pool.",
                "Do not format the card: not everything on it is in the shoot.",
            ],
        ),
        (
            replace(WHOLE, second=replace(COPY, edited=FOUR[:1])),
            [
                "Second copy: 3 of 4 files verified in /media/second/pool.",
                "Do not format the card: not everything on it is in the second copy.",
            ],
        ),
    ],
)
def test_the_last_lines_say_what_exists_where(report: Report, said: list[str]) -> None:
    assert lines(report)[-2:] == said


def test_what_only_the_second_copy_lacks_is_named() -> None:
    second = replace(COPY, entries=(*FOUR[:3], failed(4)), failed=(failed(4),))
    told = lines(replace(WHOLE, second=second))
    assert told[told.index("not in the second copy") + 1].startswith("  DCIM/100TIDES/IMG_0004.JPG")
    told = lines(replace(PARTLY, second=second))
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
