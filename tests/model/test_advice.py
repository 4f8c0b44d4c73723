"""When a card may be formatted: every combination of what a run can have seen."""

from __future__ import annotations

import itertools
import re
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest

from sorter.model.advice import (
    CONDITIONS,
    LINES,
    Condition,
    Copy,
    DiskLayout,
    Evidence,
    Level,
    advise,
    last_line,
)
from sorter.model.disks import Apart

README = Path(__file__).parents[2] / "README.md"
FILES = 9
GOOD = Evidence(
    files=FILES,
    shoot=Copy(verified=FILES),
    backup=Copy(verified=FILES),
    places=DiskLayout(card_shoot=Apart.TWO, card_backup=Apart.TWO, shoot_backup=Apart.TWO),
)
"""Nothing stands against formatting: two whole copies, on two disks that are not the card's."""

CARDS = ("new", "changed", "vanished", "uncarried", "closed", "links", "thrown", "shoots")
"""What is counted on the card's side."""


def card_sides() -> Iterator[Evidence]:
    """What the card's side can be, in all combinations."""
    for listed, *amounts in itertools.product((True, False), *[(0, 1)] * len(CARDS)):
        yield replace(GOOD, listed=bool(listed), **dict(zip(CARDS, amounts, strict=True)))  # type: ignore[arg-type]


def copies() -> Iterator[Copy]:
    """What one copy can be."""
    for verified, unsure, stopped in itertools.product((FILES, FILES - 1), (0, 2), (False, True)):
        yield Copy(verified=verified, unsure=unsure, stopped=stopped)


def both_copies() -> Iterator[Evidence]:
    """What the two copies can be, and whether the files were moved, in all combinations."""
    for moved, shoot, second in itertools.product((0, FILES), copies(), (None, *copies())):
        yield replace(GOOD, moved=moved, shoot=shoot, backup=second)


def all_places() -> Iterator[DiskLayout]:
    """Where card and copies can lie."""
    for one, two, three in itertools.product(Apart, repeat=3):
        for memory in itertools.product((False, True), repeat=2):
            yield DiskLayout(
                card_shoot=one, card_backup=two, shoot_backup=three,
                shoot_in_memory=memory[0], backup_in_memory=memory[1],
            )  # fmt: skip


def is_whole(copy: Copy | None) -> bool:
    return copy is not None and copy.verified == FILES and not copy.stopped


def may_be_formatted(e: Evidence) -> bool:
    """The rule, told once more in other words than the table's."""
    card = e.listed and not (
        e.new
        or e.changed
        or e.vanished
        or e.uncarried
        or e.closed
        or e.links
        or e.thrown
        or e.shoots
    )
    both = is_whole(e.shoot) and is_whole(e.backup) and e.backup is not None
    read = both and e.backup is not None and not (e.shoot.unsure or e.backup.unsure)
    p = e.places
    apart = {p.card_shoot, p.card_backup, p.shoot_backup} == {Apart.TWO}
    return card and read and apart and not (p.shoot_in_memory or p.backup_in_memory)


def every_evidence() -> Iterator[Evidence]:
    """All cards with copies that are whole, not whole and not there; all copies with all places."""
    few = (Copy(verified=FILES), Copy(verified=FILES, unsure=1), Copy(verified=0))
    for card, shoot, second, places in itertools.product(
        card_sides(), few, (None, *few), (GOOD.places, DiskLayout(shoot_in_memory=True))
    ):
        yield replace(card, shoot=shoot, backup=second, places=places)
    for both, places in itertools.product(both_copies(), all_places()):
        yield replace(both, places=places)


def test_a_card_may_be_formatted_only_where_nothing_stands_against_it() -> None:
    seen = {True: 0, False: 0}
    for evidence in every_evidence():
        may = may_be_formatted(evidence)
        seen[may] += 1
        assert (advise(evidence).level is Level.NONE) == may, evidence
        line = last_line(evidence)
        assert ("the card may be formatted" in line) == may, evidence
        if not is_whole(evidence.shoot) or not (
            evidence.backup is None or is_whole(evidence.backup)
        ):
            assert line.startswith("Do not format the card: "), evidence
    assert seen[True] == 3, seen  # copied, moved, and the same copy among all places
    assert seen[False] > 20_000, seen


def test_what_is_to_be_done_before_stands_behind_what_forbids_it() -> None:
    alone = last_line(replace(GOOD, thrown=1))
    assert alone.endswith("is in no copy.")
    both = last_line(replace(GOOD, thrown=1, places=replace(GOOD.places, shoot_backup=Apart.ONE)))
    assert both.startswith(alone)
    assert "Besides: both copies lie on one disk" in both


def one_thing_wrong() -> Iterator[Evidence]:
    """Each way in which the good one can be otherwise in one thing, or two that go together."""
    yield replace(GOOD, listed=False)
    for count in CARDS:
        yield replace(GOOD, **{count: 1})  # type: ignore[arg-type]
    yield from (replace(GOOD, backup=each) for each in (None, *copies()))
    yield from (replace(GOOD, shoot=each) for each in copies())
    yield from (replace(GOOD, places=each) for each in all_places())
    yield replace(GOOD, moved=1, backup=None)


@pytest.mark.parametrize("condition", CONDITIONS, ids=lambda each: each.name)
def test_each_condition_is_said_where_it_holds_alone(condition: Condition) -> None:
    with_another = {"moved, and no second copy": 2}
    evidence = next(
        each
        for each in one_thing_wrong()
        if condition in advise(each).holding
        and len(advise(each).holding) == with_another.get(condition.name, 1)
    )
    assert "{" not in condition.stated(evidence)
    assert condition.stated(evidence) in last_line(evidence)
    assert last_line(evidence).startswith(LINES[condition.level].partition("{stated}")[0])


def test_one_and_many_are_told_apart() -> None:
    (one,) = advise(replace(GOOD, new=1)).holding
    assert one.stated(replace(GOOD, new=1)) == "1 file came onto it meanwhile"
    assert one.stated(replace(GOOD, new=2)) == "2 files came onto it meanwhile"


def test_readme_has_each_condition_with_its_sentence() -> None:
    text = README.read_text()
    rows = re.findall(r"^\| (.+?) \| (careful|before|never) \| (.+?) \|$", text, re.MULTILINE)
    assert rows == [
        (each.name, each.level.name.lower(), each.sentence.replace("|", "\\|"))
        for each in CONDITIONS
    ]
    for line in LINES.values():
        assert line.replace("{stated}", "…") in " ".join(text.split())
