"""A short run of scripts/torture with every test run, and that it would see what it looks for."""

from __future__ import annotations

import hashlib
import random
import shutil
import subprocess
import sys
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest

from faults.sampling import Cuts
from torturing import command
from torturing.claims import GOES_ON, Ended, Scene, misleading
from torturing.courses import COURSES, copied, moved, taken_back
from torturing.judging import after_a_kill, at_the_end
from torturing.killing import SCRIPTS
from torturing.pool import Place, digests, make_card, while_stopped
from torturing.spoiling import ON_CARD, STROKES
from torturing.states import Copy, Known, State, state_of
from torturing.tools import against_words
from writing.cards import ingest

FILES = 24
FEW = 3
"""Courses of a sample."""


@pytest.mark.slow
def test_nothing_is_lost_by_a_few_kills(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], cuts: Cuts
) -> None:
    """A kill for each course, or for some of them."""
    courses = cuts.some(list(COURSES), FEW, "courses")
    few = ["--kills", str(len(courses)), "--files", str(FILES), "--tools", "--where", str(tmp_path)]
    few += [f"--only={name}" for name in courses]
    few += [f"--seed={cuts.chance('kills').randrange(10**6)}"]
    assert command.main(few) == 0, capsys.readouterr().out
    lines = capsys.readouterr().out.splitlines()
    assert len(lines) == 2 + len(courses), lines
    *_, kills, full, resumes, spoiled = lines[-1].split()[:-5]
    assert int(kills) > (len(courses) // 2 if cuts.every else 0)
    assert int(resumes) == int(kills) + int(full)
    assert int(spoiled) > 0 or not cuts.every
    assert lines[0].split()[-5:] == ["lost", "duplicated", "damaged", "failed", "misleading"]
    assert lines[-1].split()[-5:] == ["0"] * 5
    assert list(tmp_path.iterdir()) == []


def test_every_course_is_told_of_or_left_out_loudly(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(command, "MEMORY", tmp_path)
    one = ["--kills", "1", "--only", "move to another disk", "--where", str(tmp_path / "where")]
    assert command.main(one) == 1
    told = capsys.readouterr()
    assert "move to another disk: left out" in told.err
    assert "no run was killed" in told.out


def test_help_has_an_example(capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit):
        command.main(["--help"])
    assert "scripts/torture --kills 40" in capsys.readouterr().out


# ---- that it would see what it looks for -------------------------------------------------------


@pytest.fixture
def place(tmp_path: Path) -> Place:
    make_card(tmp_path / "card", FILES)
    return Place(card=tmp_path / "card", shoot=tmp_path / "shoot")


def test_the_card_has_as_many_files_as_asked_and_all_of_other_bytes(tmp_path: Path) -> None:
    for number in (1, 10, 150, 151):
        make_card(tmp_path / str(number), number)
        assert len(set(digests(tmp_path / str(number)).values())) == number


def a_picture(folder: Path) -> Path:
    return next(path for path in sorted(folder.rglob("*.JPG")) if path.is_file())


def lose(place: Place) -> None:
    a_picture(place.shoot).unlink()


def double(place: Place) -> None:
    path = a_picture(place.shoot)
    shutil.copy(path, path.with_name("again.JPG"))


def damage(place: Place) -> None:
    path = a_picture(place.shoot)
    path.write_bytes(path.read_bytes()[:-1])


def lose_on_card(place: Place) -> None:
    a_picture(place.card).unlink()


def add_to_card(place: Place) -> None:
    (place.card / "crab.txt").write_text("a crab")


PLANTED: list[tuple[Callable[[Place], None], tuple[int, int, int]]] = [
    (lose, (1, 0, 1)),  # the digests list it
    (double, (0, 1, 1)),  # they do not list it
    (damage, (1, 0, 2)),
    (lose_on_card, (1, 0, 0)),
    (add_to_card, (0, 1, 0)),
]


@pytest.mark.parametrize(("plant", "expected"), PLANTED)
def test_a_planted_fault_is_counted(
    place: Place, plant: Callable[[Place], None], expected: tuple[int, int, int]
) -> None:
    originals = digests(place.card)
    ingest(place.card, place.shoot)
    assert copied(place, originals).faults == 0
    plant(place)
    tally = copied(place, originals)
    assert (tally.lost, tally.duplicated, tally.damaged) == expected
    assert len(tally.said) == sum(expected)


def test_what_stays_on_a_moved_card_or_in_an_undone_shoot_is_counted(place: Place) -> None:
    originals = digests(place.card)
    ingest(place.card, place.shoot)
    assert moved(place, originals).duplicated == FILES
    assert taken_back(place, originals).duplicated == FILES


def test_what_a_kill_costs_is_counted(place: Place) -> None:
    originals = digests(place.card)
    place.shoot.mkdir()
    assert while_stopped(place, originals).faults == 0
    path = a_picture(place.card)
    (place.shoot / "half.JPG").write_bytes(path.read_bytes()[:50])
    path.unlink()
    tally = while_stopped(place, originals)
    assert (tally.lost, tally.damaged) == (1, 1)


# ---- spoiled copies, and an edited card --------------------------------------------------------


@pytest.mark.parametrize("name", STROKES)
def test_a_stroke_does_what_it_says(place: Place, name: str) -> None:
    ingest(place.card, place.shoot, backup=place.other)
    before = state_of(place)
    done = STROKES[name](place, random.Random(name))
    after = state_of(place)
    assert done.said
    assert (after.card != before.card) == bool(done.edits) == name.startswith("card edited")
    whole = (after.shoot.whole, after.other.whole) != (before.shoot.whole, before.other.whole)
    assert whole != bool(done.edits)
    made = {*after.shoot.there.values(), *after.other.there.values()} - set(before.card.values())
    assert made <= done.made


@pytest.mark.parametrize("name", sorted(ON_CARD))
def test_an_edit_of_the_card_keeps_size_and_time(place: Place, name: str) -> None:
    files = {path: (path.read_bytes(), path.stat()) for path in place.card.rglob("*.*")}
    done = STROKES[name](place, random.Random(name))
    assert done.edits
    for path, digest in done.edits.items():
        data, about = files[place.card / path]
        now = place.card / path
        assert hashlib.sha256(now.read_bytes()).hexdigest() == digest
        assert (now.stat().st_size, now.stat().st_mtime_ns) == (about.st_size, about.st_mtime_ns)
        if name == "card edited behind its head":
            assert now.read_bytes()[:4096] == data[:4096]


LIMPET, CRAB = "DCIM/LIMPET.JPG", "DCIM/CRAB.JPG"


def copy_of(*names: str, spoiled: tuple[str, ...] = ()) -> Copy:
    """A copy that lists these files, each with its name for a digest."""
    there = {name: "sand" if name in spoiled else name for name in names}
    listed = {name: name for name in names}
    return Copy(there=there, listed=listed, sources={name: (name,) for name in names})


BOTH = copy_of(LIMPET, CRAB)
ON_THE_CARD = {LIMPET: LIMPET, CRAB: CRAB}
WHOLE = State(card=ON_THE_CARD, shoot=BOTH, other=BOTH)
SPOILED = replace(WHOLE, shoot=copy_of(LIMPET, CRAB, spoiled=(CRAB,)))
SWAPPED = replace(WHOLE, shoot=replace(BOTH, there={LIMPET: CRAB, CRAB: LIMPET}))
SECOND_SPOILED = replace(WHOLE, other=copy_of(LIMPET, CRAB, spoiled=(CRAB,)))
EMPTIED = replace(WHOLE, card={})
HALF_EMPTIED = replace(WHOLE, card={CRAB: CRAB})
EDITED = replace(WHOLE, card={LIMPET: LIMPET, CRAB: "kelp"})
NOTHING = State(card=ON_THE_CARD, shoot=Copy(), other=Copy())
COPIED = "2 of 2 files verified: copied and read back, as the card gave it, read once."
MOVED = "2 of 2 files verified: moved, and equal to the card's byte by byte, read past the cache."
HALF_MOVED = "2 of 2 files verified: 1 moved, 1 copied and still on the card, as the card gave it, read once."
SOME_NOW = "2 of 2 files verified: 1 copied and read back now, 1 there already and read again, as the card gave it, read once."
AGAIN = "2 of 2 files verified: all were there already, and equal to the card's byte by byte, read past the cache."
SECOND = "Second copy: 2 of 2 files verified in /pool/other."
CHECKED = "2 of 2 files verified in /pool/shoot.\n2 of 2 files verified in /pool/other."
MOVED_BY_OWNER = CHECKED.replace("shoot.", "shoot, 2 of them moved by you.")
ON_BOTH = "2 of 2 files on the card are in the shoot, equal byte by byte."
MAY = "Two verified copies exist now, on two disks that are not the card's: the card may be formatted."
CAREFUL = "Two verified copies exist now. The system cannot tell whether the two copies lie on two disks: be sure of that yourself before you format the card."
STILL = "2 files that were to be moved are still on the card: the system does not let it be read"
NO_FILES = "There is no file on the card: an earlier ingest moved them all, or it is another card.\nWhat earlier runs moved was not read now: `sorter verify /pool/shoot` reads it."
BACK = "2 files moved back to /pool/card."
GONE = "2 copies removed from the shoot."


def scene_of(
    said: str, before: State, after: State, *, code: int = 0, command: str = "ingest"
) -> Scene:
    known = Known(
        once={LIMPET: LIMPET, CRAB: CRAB}, ever={LIMPET, CRAB, "kelp"},
        two="Second" in said or "Two" in said or "/other" in said, moves=before.card != after.card,
    )  # fmt: skip
    ended = Ended(command=command, code=code, said=said, other="/pool/other")
    return Scene(ended=ended, before=before, after=after, known=known)


NAMED = f"{CRAB} {LIMPET}\n"
"""Names all files, so that it is the sentence alone that is judged."""

SENTENCES: list[tuple[str, str, tuple[State, State], tuple[State, State]]] = [
    # command, what is said, before and after where it is true, and where it is not
    ("ingest", COPIED, (NOTHING, WHOLE), (NOTHING, SPOILED)),
    ("ingest", f"{COPIED}\n{SECOND}", (NOTHING, WHOLE), (NOTHING, SECOND_SPOILED)),
    ("ingest", COPIED, (NOTHING, WHOLE), (WHOLE, EMPTIED)),
    ("ingest", f"{COPIED}\n{MAY}", (NOTHING, WHOLE), (NOTHING, SECOND_SPOILED)),
    ("ingest", f"{COPIED}\n{CAREFUL}", (NOTHING, WHOLE), (NOTHING, SECOND_SPOILED)),
    ("ingest", f"{COPIED}\n{MAY}", (NOTHING, WHOLE), (NOTHING, EDITED)),
    ("ingest", MOVED, (WHOLE, EMPTIED), (WHOLE, HALF_EMPTIED)),
    ("ingest", HALF_MOVED, (WHOLE, HALF_EMPTIED), (WHOLE, EMPTIED)),
    ("ingest", HALF_MOVED, (WHOLE, HALF_EMPTIED), (WHOLE, WHOLE)),
    ("ingest", SOME_NOW, (WHOLE, WHOLE), (NOTHING, WHOLE)),
    ("ingest", AGAIN, (WHOLE, WHOLE), (SPOILED, WHOLE)),
    ("ingest", AGAIN, (WHOLE, WHOLE), (EDITED, EDITED)),
    ("ingest", f"{COPIED}\n{STILL}", (NOTHING, WHOLE), (WHOLE, HALF_EMPTIED)),
    ("ingest", NO_FILES, (EMPTIED, EMPTIED), (EMPTIED, HALF_EMPTIED)),
    ("verify", CHECKED, (WHOLE, WHOLE), (SPOILED, SPOILED)),
    ("verify", CHECKED, (WHOLE, WHOLE), (SECOND_SPOILED, SECOND_SPOILED)),
    ("verify", CHECKED, (WHOLE, WHOLE), (SWAPPED, SWAPPED)),
    ("verify", f"{CHECKED}\n{ON_BOTH}", (WHOLE, WHOLE), (EDITED, EDITED)),
    ("undo", BACK, (EMPTIED, NOTHING), (EMPTIED, HALF_EMPTIED)),
    ("undo", GONE, (WHOLE, NOTHING), (WHOLE, WHOLE)),
]


@pytest.mark.parametrize(("command", "said", "true", "untrue"), SENTENCES)
def test_a_misleading_sentence_is_seen(
    command: str, said: str, true: tuple[State, State], untrue: tuple[State, State]
) -> None:
    assert misleading(scene_of(said, *true, command=command)) == []
    found = misleading(scene_of(NAMED + said, *untrue, code=1, command=command))
    assert found, said
    assert all("exit code" not in each for each in found)


def test_a_loss_of_which_nothing_is_said_is_seen() -> None:
    said = "1 of 2 files verified: there already, as the card gave it, read once."
    said += f"\n{GOES_ON}/pool/card that was stopped"
    found = misleading(scene_of(said, SPOILED, SPOILED))
    assert any("exit code 0" in each for each in found)
    assert any("nothing is said of 1" in each for each in found)
    assert misleading(scene_of(f"CHANGED\n  CRAB.JPG\n{said}", SPOILED, SPOILED, code=1)) == []
    assert misleading(scene_of(f"CHANGED\n  and 1 more\n{said}", SPOILED, SPOILED, code=1)) == []


def test_what_lies_elsewhere_counts_where_it_was_said_to_be_moved() -> None:
    said = f"{NAMED}{MOVED_BY_OWNER}\n{MAY}"
    assert misleading(scene_of(said, SWAPPED, SWAPPED, command="verify", code=1)) == []
    for state in (SPOILED, SECOND_SPOILED):
        assert misleading(scene_of(said, state, state, command="verify", code=1))
    found = misleading(scene_of(said, SWAPPED, SWAPPED, command="verify"))
    assert [each.partition(",")[0] for each in found] == ["exit code 0"]


def test_an_ingest_that_begins_anew_answers_for_what_the_card_has_then() -> None:
    state = State(card={LIMPET: LIMPET}, shoot=copy_of(LIMPET, CRAB, spoiled=(CRAB,)), other=Copy())
    said = "1 of 1 file verified: all were there already, as the card gave it, read once."
    assert misleading(scene_of(said, state, state)) == []
    goes_on = f"{said}\n{GOES_ON}/pool/card that was stopped"
    assert misleading(scene_of(goes_on, state, state)) != []


def test_a_run_that_says_nothing_known_is_seen() -> None:
    (found,) = misleading(scene_of("2 of 2 files are fine.", NOTHING, WHOLE))
    assert "no sentence that is known here" in found


@pytest.mark.parametrize(
    ("before", "after", "expected"),
    [
        (WHOLE, EMPTIED, (0, 0)),
        (NOTHING, EMPTIED, (0, 0)),
        (SPOILED, replace(SPOILED, card={}), (1, 0)),  # let go while one copy is spoiled
        (NOTHING, replace(NOTHING, card={}), (4, 0)),  # lost, and let go
        (WHOLE, replace(WHOLE, shoot=copy_of(LIMPET, CRAB, spoiled=(CRAB,))), (0, 1)),
        (WHOLE, EDITED, (0, 1)),
    ],
)
def test_what_a_run_does_to_spoiled_copies_is_counted(
    before: State, after: State, expected: tuple[int, int]
) -> None:
    known = Known(once={**ON_THE_CARD}, ever={LIMPET, CRAB}, two=False, moves=True)
    known.made |= set(before.shoot.there.values()) - known.ever
    tally = after_a_kill(before, after, known)
    assert (tally.lost, tally.damaged) == expected
    assert len(tally.said) == sum(expected)


def test_what_is_lost_for_good_asks_for_exit_code_4() -> None:
    lost = replace(SPOILED, card={LIMPET: LIMPET}, other=Copy())
    goes_on = f"{GOES_ON}/pool/card that was stopped"
    said = (
        "CHANGED\n  CRAB.JPG\n1 of 2 files verified: there already, as the card gave it, read once."
    )
    for code, failed in ((1, 1), (4, 0), (3, 1)):
        scene = scene_of(f"{said}\n{goes_on}", lost, lost, code=code)
        scene.known.made.add("sand")
        tally = at_the_end(scene)
        assert (tally.failed, tally.misleading) == (failed, 0)


def test_tools_of_others_look_at_what_is_called_verified(place: Place, tmp_path: Path) -> None:
    shutil.copytree(place.card, tmp_path / "reference")
    before = state_of(place)
    ingest(place.card, place.shoot)
    known = Known.of(before.card, ("ingest",))

    def told() -> list[str]:
        said = f"{FILES} of {FILES} files verified: copied and read back, as the card gave it, read once."
        ended = Ended(command="ingest", code=0, said=said, other=str(place.other))
        scene = Scene(ended=ended, before=before, after=state_of(place), known=known)
        return against_words(scene, place, tmp_path / "reference")

    assert told() == []
    damage(place)
    assert any(line.startswith("sha256sum: ") for line in told())
    assert any(line.startswith("rsync: ") for line in told())


def test_the_sorter_is_told_of_three_disks(place: Place) -> None:
    folders = [str(folder) for folder in (place.card, place.shoot, place.other)]
    command = [sys.executable, "-m", "torturing.three_disks", *folders]
    command += place.filled(("ingest", "{card}", "{shoot}", "--backup", "{other}"))
    told = subprocess.run(command, cwd=SCRIPTS, capture_output=True, text=True, check=True)  # noqa: S603  our own program
    assert told.stdout.rstrip().endswith(MAY)
