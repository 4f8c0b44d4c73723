"""Killed, then spoiled, then run again: no byte is lost, and no word is untrue.

The first tests try kills, files and strokes by chance; a seed gives the same ones again. What they found
stands below, each by itself. The tests at the end show that they see what they look for.
"""

from __future__ import annotations

import errno
import os
from collections.abc import Callable, Sequence
from dataclasses import replace
from pathlib import Path
from typing import TypeAlias

import pytest
from click.testing import CliRunner, Result

from faults.scenarios import BATCH, Pool, copy, copy_to_two, move, move_to_two, two_disks
from faults.spoiled import COURSES, deep_card, killed_in, three_disks, trials
from sorter.cli import commands, endings
from sorter.disk.card import Card
from sorter.disk.shoot import Shoot
from sorter.disk.streams import Measured
from sorter.model import advice
from sorter.model.plan import ContentCheck, Entry
from sorter.pipeline import ingesting, inspecting
from sorter.writing import carry, moving
from sorter.writing.compare import Comparison
from sorter.writing.undo import Undoing
from torturing.claims import FORMAT, NOT_READ
from torturing.spoiling import STROKES
from writing.cards import LIMPETS, by_source, contents, undo
from writing.faults import fails_in

SEEDS = (1,)


@pytest.mark.parametrize("seed", SEEDS)
@pytest.mark.parametrize("name", COURSES)
def test_nothing_is_lost_and_no_word_is_untrue(base: Path, name: str, seed: int) -> None:
    tried = trials(name, seed, base)
    faults = [str(each) for each in tried if each.faults]
    assert not faults, f"seed {seed}, {name}: " + "\n\n".join(faults)
    assert len(tried) >= len(STROKES)


# ---- what was found so -------------------------------------------------------------------------


@pytest.fixture
def pool(base: Path, monkeypatch: pytest.MonkeyPatch) -> Pool:
    pool = Pool(base=base)
    deep_card(pool.card)
    pool.originals = contents(pool.card)
    monkeypatch.setattr(carry, "BATCH_FILES", BATCH)
    three_disks(monkeypatch, pool)
    return pool


def sorter(*words: str | Path) -> Result:
    return CliRunner().invoke(commands, [str(word) for word in words], prog_name="sorter")


def moved_again(pool: Pool) -> Result:
    return sorter("ingest", pool.card, pool.shoot, "--move", "--yes")


def off_card(pool: Pool) -> list[str]:
    """The paths of the card's files that a move took off it so far."""
    return [path for path in pool.originals if not (pool.card / path).exists()]


def copy_of(pool: Pool, source: str) -> Path:
    """Where a file of the card is in the shoot, by its name: no two have one."""
    (found,) = pool.shoot.rglob(source.rpartition("/")[2])
    return found


def test_what_a_rename_brought_before_the_kill_is_told_as_moved(pool: Pool) -> None:
    killed_in(lambda: move(pool), Shoot, "take", call=3)
    assert len(off_card(pool)) == 2
    told = moved_again(pool)
    assert f"{len(pool.originals)} of {len(pool.originals)} files verified: moved, " in told.stdout
    assert told.exit_code == 0


def test_what_a_rename_brought_before_the_kill_and_is_lost_since_is_called_so(pool: Pool) -> None:
    killed_in(lambda: move(pool), Shoot, "take", call=3)
    source = off_card(pool)[0]
    copy_of(pool, source).unlink()
    told = moved_again(pool)
    assert told.exit_code == 4
    assert "MISSING OR CHANGED in the shoot since" in told.stdout
    assert source.rpartition("/")[2] in told.stdout
    assert "could not be carried" not in told.stdout
    checked = sorter("verify", pool.shoot)
    assert checked.exit_code == 4
    assert checked.stdout.startswith("MISSING\n")


def test_what_was_taken_off_before_the_kill_is_not_called_still_on_the_card(
    pool: Pool, monkeypatch: pytest.MonkeyPatch
) -> None:
    two_disks(monkeypatch)
    killed_in(lambda: move(pool), moving, "remove_from_card", call=4)
    source = off_card(pool)[0]
    copy_of(pool, source).unlink()
    told = moved_again(pool)
    assert told.exit_code == 4
    left = contents(pool.card)
    still = [line.strip() for line in told.stdout.splitlines() if line.strip() in pool.originals]
    assert sorted(still) == sorted(left)


@pytest.mark.parametrize("backup", [False, True])
def test_a_card_edited_between_verifying_and_placing_is_carried_anew(
    pool: Pool, *, backup: bool
) -> None:
    killed_in(lambda: (copy_to_two if backup else copy)(pool), Shoot, "place", call=2)
    source = f"{LIMPETS}/IMG_0001.JPG"
    data = edited(pool.card / source)
    told = sorter("ingest", pool.card, pool.shoot, *(("--backup", pool.other) if backup else ()))
    for folder in (pool.shoot, pool.other) if backup else (pool.shoot,):
        assert data in contents(folder).values()
        assert pool.originals[source] in contents(folder).values()
    assert (FORMAT in told.stdout) == backup


def test_a_move_of_which_the_card_has_all_the_rest_with_other_bytes_is_ended(
    pool: Pool, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(carry, "BATCH_FILES", 1)
    killed_in(lambda: move(pool), Shoot, "take", call=7)
    monkeypatch.setattr(carry, "BATCH_FILES", BATCH)
    for path, data in contents(pool.card).items():
        (pool.card / path).write_bytes(data[:20] + b"kelp" + data[24:])
    edits = contents(pool.card)
    told = moved_again(pool)
    assert told.exit_code in (0, 1), told.output
    assert set(edits.values()) <= {*contents(pool.shoot).values(), *contents(pool.card).values()}


def test_numbers_of_files_are_true_where_an_older_version_was_placed_too(pool: Pool) -> None:
    killed_in(lambda: copy(pool), Shoot, "place", call=1)
    (pool.card / LIMPETS / "IMG_0001.JPG").write_bytes(pool.originals["tides.txt"][::-1])
    told = sorter("ingest", pool.card, pool.shoot)
    assert "-1" not in told.stdout
    assert " files verified: " in told.stdout


def test_an_undo_names_what_is_neither_in_the_shoot_nor_on_the_card(pool: Pool) -> None:
    move(pool)
    killed_in(lambda: undo(pool.shoot), Shoot, "give_back", call=3)
    source = off_card(pool)[-1]
    copy = copy_of(pool, source)
    place = copy.relative_to(pool.shoot).as_posix()
    copy.unlink()
    told = sorter("undo", pool.shoot, "--yes")
    assert told.exit_code == 4
    assert told.stdout.startswith(
        f"MISSING in the shoot, and not on the card as they were carried\n  {place}\n"
    )
    assert off_card(pool) == [source]
    checked = sorter("verify", pool.shoot)  # it is still known, so that it can be mended
    assert (checked.exit_code, f"  {place}" in checked.stdout) == (4, True)


def test_of_a_card_that_was_emptied_before_nothing_is_called_verified(pool: Pool) -> None:
    move(pool)
    told = moved_again(pool)
    assert NOT_READ in told.stdout
    assert "verified" not in told.stdout


def first_is_full(pool: Pool) -> None:
    """Carried into two, of which the disk of the shoot took nothing: the second copy is whole."""
    with pytest.MonkeyPatch.context() as patch:
        fails_in(patch, pool.shoot, after=0, number=errno.ENOSPC)
        copy_to_two(pool)
    assert by_source(pool.other) == pool.originals
    assert contents(pool.shoot).keys() <= {"manifest.csv", "SHA256SUMS"}


def test_a_second_copy_that_went_on_alone_is_read_again_and_made_good(pool: Pool) -> None:
    first_is_full(pool)
    next(pool.other.rglob("IMG_0001.JPG")).unlink()
    next(pool.other.rglob("tides.txt")).write_bytes(bytes(9))
    told = sorter("ingest", pool.card, pool.shoot, "--backup", pool.other)
    count = len(pool.originals)
    assert f"Second copy: {count} of {count} files verified in " in told.stdout
    assert by_source(pool.other) == by_source(pool.shoot) == pool.originals
    assert told.exit_code == 1  # one was changed since it was carried: it is named
    assert "changed in the second copy since they were carried" in told.stdout


def edited(path: Path) -> bytes:
    """Another last byte, behind all that a look at the head sees; size and time are what they were."""
    about, data = path.stat(), path.read_bytes()
    data = data[:-1] + bytes([data[-1] ^ 1])
    path.write_bytes(data)
    os.utime(path, ns=(about.st_atime_ns, about.st_mtime_ns))
    return data


def named_missing(pool: Pool, told: Result) -> None:
    """What the shoot lacks of the second copy is named, and can be mended from there."""
    assert told.exit_code == 4
    assert "MISSING OR CHANGED in the shoot since" in told.stdout
    assert "  unsorted/tides.txt\n" in told.stdout
    mended = sorter("verify", pool.shoot, "--backup", pool.other, "--mend")
    assert mended.exit_code == 0, mended.output
    assert contents(pool.shoot) == contents(pool.other)


def test_a_card_edited_after_the_second_copy_went_on_alone_leaves_both_alike(pool: Pool) -> None:
    first_is_full(pool)
    data = edited(pool.card / "tides.txt")
    told = sorter("ingest", pool.card, pool.shoot, "--backup", pool.other)
    for folder in (pool.shoot, pool.other):
        assert data in contents(folder).values()
    named_missing(pool, told)


@pytest.mark.parametrize("moves", [False, True])
def test_a_card_edited_when_one_copy_was_lost_leaves_both_alike(
    pool: Pool, monkeypatch: pytest.MonkeyPatch, *, moves: bool
) -> None:
    work, more = (move_to_two, ("--move", "--yes")) if moves else (copy_to_two, ())
    monkeypatch.setattr(carry, "BATCH_FILES", 99)
    killed_in(lambda: work(pool), Shoot, "place", call=len(pool.originals) + 1)
    (pool.shoot / "unsorted" / "tides.txt").unlink()  # noted as verified, in both
    data = edited(pool.card / "tides.txt")
    told = sorter("ingest", pool.card, pool.shoot, "--backup", pool.other, *more)
    for folder in (pool.shoot, pool.other):
        assert data in contents(folder).values()
    named_missing(pool, told)


# ---- that it would see what it looks for -------------------------------------------------------


def copies_are_held_as_they_were_noted(patch: pytest.MonkeyPatch) -> None:
    patch.setattr(Shoot, "holds", lambda *_: ContentCheck.SURE)


def a_stopped_run_is_not_looked_at_again(patch: pytest.MonkeyPatch) -> None:
    def trusted(*_: object, entries: Sequence[Entry], **__: object) -> Comparison:
        return Comparison(
            there={each.row.source: each for each in entries},
            held={each.number: ContentCheck.SURE for each in entries},
        )

    patch.setattr(inspecting, "compare_again", trusted)


def originals_are_not_read_before_they_leave(patch: pytest.MonkeyPatch) -> None:
    real = Card.measured

    def trusted(self: Card, path: str, *given: Callable[[int], None]) -> Measured:
        found = real(self, path, *given)
        return replace(found, sha256=digests[path]) if path in digests else found

    digests = dict[str, str]()
    release = moving.CardRemover.empty_card

    def noting(self: moving.CardRemover, leaving: frozenset[int]) -> None:
        known = self._lead.ledger.entries()
        digests.update((each.row.source, each.row.sha256) for each in known)
        release(self, leaving)

    patch.setattr(Card, "measured", trusted)
    patch.setattr(moving.CardRemover, "empty_card", noting)


def what_stays_on_the_card_is_no_evidence(patch: pytest.MonkeyPatch) -> None:
    last_line = advice.last_line
    patch.setattr(endings, "last_line", lambda evidence: last_line(replace(evidence, changed=0)))


def what_is_lost_is_not_said(patch: pytest.MonkeyPatch) -> None:
    after = ingesting.Ingest.carry
    patch.setattr(
        ingesting.Ingest, "carry", lambda *given: replace(after(*given), lost=(), failed=())
    )


def an_undo_says_nothing_of_what_is_lost(patch: pytest.MonkeyPatch) -> None:
    patch.setattr(Undoing, "_miss", lambda *_: None)


Broken: TypeAlias = tuple[Callable[[pytest.MonkeyPatch], None], str, str, str]
"""What breaks the rule, a course, a stroke, and what is found then."""

BROKEN: list[Broken] = [
    (copies_are_held_as_they_were_noted, "copy", "zeroed", "are whole"),
    (copies_are_held_as_they_were_noted, "move to another disk", "zeroed", "left the card"),
    (copies_are_held_as_they_were_noted, "move into two copies", "swapped", "are whole"),
    (a_stopped_run_is_not_looked_at_again, "two copies", "zeroed", "may be formatted"),
    (originals_are_not_read_before_they_leave, "move to another disk", "card edited", "lost"),
    (what_stays_on_the_card_is_no_evidence, "move into two copies", "card edited", "formatted"),
    (what_is_lost_is_not_said, "move on one disk", "deleted", "lost for good"),
    (
        an_undo_says_nothing_of_what_is_lost,
        "undo of a move on one disk",
        "deleted",
        "nothing is said",
    ),
]


@pytest.mark.parametrize("case", BROKEN, ids=lambda case: f"{case[0].__name__}, {case[1]}")
def test_a_broken_rule_is_found(base: Path, monkeypatch: pytest.MonkeyPatch, case: Broken) -> None:
    broken, name, stroke, says = case
    broken(monkeypatch)
    faults: list[str] = []
    for seed in range(4):  # until it is found
        tried = trials(name, seed, base / str(seed), strokes=[stroke])
        faults += [str(each) for each in tried if each.faults]
        if any(says in fault for fault in faults):
            return
    pytest.fail(f"not found: {faults}")


def test_the_words_that_are_judged_are_said(base: Path) -> None:
    tried = [
        *trials("two copies", 1, base / "copies", strokes=["deleted"]),
        *trials("move into two copies", 1, base / "moves", strokes=["deleted"]),
    ]
    said = "\n".join(each.ended.said for each in tried)
    for words in (FORMAT, "files verified: ", "Second copy: ", "moved"):
        assert words in said, said
