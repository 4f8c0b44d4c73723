"""A shoot regrouped after its ingest, and taken back: every file kept, lists true, nothing twice."""

from __future__ import annotations

import errno
import os
import shutil
from collections.abc import Callable
from pathlib import Path

import pytest

import tides
from handoff.tidal import SECOND, handoff, results, run, tidal_shoot
from outside.tools import unlike_their_digests
from sorter.disk.shoot import Shoot
from sorter.errors import BadChoice, BadPattern, BadShoot, NoShoot, SorterError
from sorter.model.kinds import Kind
from sorter.model.operation import OperationKind
from sorter.pipeline import Undo, regroup, verify_both
from sorter.pipeline.regrouping import NOT_IN_PLACE
from sorter.writing.ledger import Ledger
from writing.cards import (
    ANEMONES,
    LIMPETS,
    contents,
    destinations,
    found,
    hold_consistent,
    hold_whole,
    ingest,
    limpets,
    picture,
    rows,
    tree,
    undo,
)
from writing.regrouping import WHY, folders, regrouped, sequences, wish

STACK, BURST, SINGLE, MARKER = Kind.FOCUS_BRACKET, Kind.BURST, Kind.SINGLE, Kind.MARKER
FIRST_OF_CARD = f"{LIMPETS}/IMG_0001.JPG"
OF_BURST = {1: ("burst", (1, 2, 3, 4)), 2: ("single", (5,)), 3: ("single", (6,))}
card = tides.whole_card


@pytest.fixture
def shoot(card: Path, tmp_path: Path) -> Path:
    """A burst of four with sidecars, two lone frames of the same names, and what is no frame."""
    ingest(card, tmp_path / "shoot")
    assert sequences(tmp_path / "shoot") == OF_BURST
    return tmp_path / "shoot"


@pytest.fixture(scope="module")
def tidal(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tidal_shoot(tmp_path_factory.mktemp("tide"))


@pytest.fixture
def pools(tidal: Path, tmp_path: Path) -> Path:
    """Three slices, four slices, a burst of three and a lone frame; each series has its name."""
    return shutil.copytree(tidal, tmp_path / "pools")


def holds(card: Path, shoot: Path) -> None:
    """Every file of the card is there once and equal, and tools of others agree."""
    originals = contents(card)
    hold_whole(shoot, originals)
    assert not found(shoot).has_failed
    assert unlike_their_digests(shoot) == []  # GNU coreutils' sha256sum
    empty = [path for path in shoot.rglob("*") if path.is_dir() and not any(path.iterdir())]
    assert [path for path in empty if ".sorter" not in path.parts] == []


# ---- what becomes of the sequences -------------------------------------------------------------


def test_a_burst_is_split(card: Path, shoot: Path) -> None:
    outcome = regrouped(shoot, wish(STACK, 3, 4, name="limpet"))
    assert sequences(shoot) == OF_BURST | {1: ("burst", (1, 2)), 4: ("focus-bracket", (3, 4))}
    assert outcome.sequences == (1, 4)
    assert outcome.moved == 8  # each frame has a sidecar
    assert folders(shoot)[1] == folders(shoot)[2] == {"0001_burst_2"}
    assert folders(shoot)[3] == folders(shoot)[4] == {"0004_focus-bracket_2_limpet"}
    holds(card, shoot)


def test_two_sequences_become_one(pools: Path, tidal: Path) -> None:
    regrouped(pools, wish(STACK, 1, 2, 3, 4, 5, 6, 7))
    assert sequences(pools) == {
        1: ("focus-bracket", (1, 2, 3, 4, 5, 6, 7)),
        3: ("burst", (8, 9, 10)),
        4: ("single", (11,)),
    }
    assert folders(pools)[5] == {"0001_focus-bracket_7_limpet"}
    assert not (pools / SECOND).exists()
    holds(tidal.parent / "card", pools)


def test_the_tail_of_one_joins_the_next_which_keeps_its_number(pools: Path) -> None:
    regrouped(pools, wish(Kind.MANUAL_STACK, 3, 4, 5, 6, 7))
    assert sequences(pools)[1] == ("focus-bracket", (1, 2))
    assert sequences(pools)[2] == ("manual-stack", (3, 4, 5, 6, 7))
    assert folders(pools)[1] == {"0001_focus-bracket_2_limpet"}


def test_another_kind_keeps_number_name_and_what_was_planned(pools: Path, tidal: Path) -> None:
    regrouped(pools, wish(STACK, 8, 9, 10))
    assert sequences(pools)[3] == ("focus-bracket", (8, 9, 10))
    assert folders(pools)[8] == {"0003_focus-bracket_3_spray"}
    (grounds,) = {row.grounds for row in rows(pools) if row.sequence == 3 and row.grounds}
    assert grounds == WHY
    holds(tidal.parent / "card", pools)


def test_a_marker_is_taken_out_of_the_middle(card: Path, shoot: Path) -> None:
    regrouped(shoot, wish(MARKER, 2))
    assert sequences(shoot) == OF_BURST | {
        1: ("single", (1,)),
        4: ("marker", (2,)),
        5: ("burst", (3, 4)),
    }
    assert folders(shoot)[2] == {"markers"}
    assert folders(shoot)[1] == {"singles"}
    said = {row.frame: row.grounds for row in rows(shoot) if row.grounds}
    assert said[2] == WHY
    assert said[1].endswith("; cut since: 1 of 4 frames are left here")
    assert said[3].endswith("; cut since: 2 of 4 frames are left here")
    holds(card, shoot)


def test_markers_and_singles_are_a_sequence_each(pools: Path) -> None:
    regrouped(pools, wish(MARKER, 1, 2), wish(SINGLE, 9, 10))
    assert [sequences(pools)[n] for n in (1, 5)] == [("marker", (1,)), ("marker", (2,))]
    assert {
        sequences(pools)[n][1] for n in sequences(pools) if sequences(pools)[n][0] == "single"
    } == {
        (3,),
        (8,),
        (9,),
        (10,),
        (11,),
    }


def test_frames_that_lie_apart_are_sequences_of_their_own(pools: Path) -> None:
    regrouped(pools, wish(STACK, 4, 5, 8, 9))
    assert sequences(pools)[2] == ("focus-bracket", (4, 5))
    assert sequences(pools)[3] == ("focus-bracket", (8, 9))
    assert sorted(frames for _, frames in sequences(pools).values()) == [
        (1, 2, 3),
        (4, 5),
        (6, 7),
        (8, 9),
        (10,),
        (11,),
    ]


def test_a_lone_frame_of_a_stack_is_a_single(pools: Path) -> None:
    regrouped(pools, wish(STACK, 4))
    assert sequences(pools)[2] == ("single", (4,))


def test_what_is_so_already_is_not_touched(pools: Path) -> None:
    before = tree(pools)
    outcome = regrouped(pools, wish(STACK, 1, 2, 3), wish(SINGLE, 11))
    assert (outcome.sequences, outcome.moved) == ((), 0)
    after = tree(pools)
    ours = {path for path in before if ".sorter" in path}
    assert {p: v for p, v in before.items() if p not in ours} == {
        p: v for p, v in after.items() if p not in ours
    }


def test_names_that_clash_are_numbered(card: Path, shoot: Path) -> None:
    """Singles from two folders of the card share names; raw, JPEG and sidecar stay together."""
    before = destinations(shoot)
    assert before[f"{ANEMONES}/IMG_0001.JPG"] == "singles/IMG_0001.JPG"
    regrouped(shoot, wish(SINGLE, 1, 2))
    after = destinations(shoot)
    assert after[f"{LIMPETS}/IMG_0001.JPG"] == "singles/IMG_0001_2.JPG"
    assert after[f"{LIMPETS}/IMG_0001.xmp"] == "singles/IMG_0001_2.xmp"
    (row,) = [row for row in rows(shoot) if row.source == f"{LIMPETS}/IMG_0001.JPG"]
    assert "named IMG_0001_2.JPG here: another file has its name" in row.notes
    holds(card, shoot)
    regrouped(shoot, wish(BURST, 1, 2))
    assert destinations(shoot)[f"{LIMPETS}/IMG_0001.JPG"] == "0001_burst_2/IMG_0001.JPG"
    assert not [row for row in rows(shoot) if "IMG_0001_2" in row.notes]
    holds(card, shoot)


def test_nothing_that_is_there_is_replaced(shoot: Path) -> None:
    (shoot / "0005_focus-bracket_2").mkdir()
    (shoot / "0005_focus-bracket_2" / "IMG_0003.JPG").write_bytes(b"barnacles")
    (shoot / "markers").mkdir()
    (shoot / "markers" / "img_0001.jpg").write_bytes(b"whelks")
    regrouped(shoot, wish(STACK, 3, 4), wish(MARKER, 1))
    assert folders(shoot)[3] == {"0005_focus-bracket_2_2"}
    assert destinations(shoot)[f"{LIMPETS}/IMG_0001.JPG"] == "markers/IMG_0001_2.JPG"
    assert found(shoot).added == ["0005_focus-bracket_2/IMG_0003.JPG", "markers/img_0001.jpg"]
    assert (shoot / "markers" / "img_0001.jpg").read_bytes() == b"whelks"
    hold_consistent(shoot)


# ---- what stays --------------------------------------------------------------------------------


def test_results_stay_and_follow_the_first_frame(pools: Path) -> None:
    assert run(pools, "average").exit_code == 0
    before = {row.destination for row in results(pools)}
    regrouped(pools, wish(STACK, 1, 2, 3, 4, 5, 6, 7))
    after = results(pools)
    assert {row.destination for row in after} == before
    assert {(row.sequence, row.kind, row.frames) for row in after} == {(1, STACK, 7)}
    assert all(row.notes.startswith("result of sequence 1; ") for row in after)
    assert not found(pools).has_remarks
    undo(pools)
    assert sorted(row.sequence or 0 for row in results(pools)) == [1, 2]


def test_results_that_came_since_stay_when_it_is_taken_back(pools: Path) -> None:
    regrouped(pools, wish(Kind.MANUAL_STACK, 8, 9))
    assert run(pools, "average").exit_code == 0
    made = {row.sequence or 0: row.destination for row in results(pools)}
    assert sorted(made) == [1, 2, 3]
    undo(pools)
    assert {row.destination for row in results(pools)} == set(made.values())
    assert sorted((row.sequence or 0, str(row.kind)) for row in results(pools)) == [
        (1, "focus-bracket"),
        (2, "manual-stack"),
        (3, "burst"),
    ]
    hold_consistent(pools)
    assert not found(pools).has_remarks


def test_a_file_that_is_not_there_is_named_and_its_frame_stays(shoot: Path) -> None:
    lost = destinations(shoot)[f"{LIMPETS}/IMG_0002.JPG"]
    (shoot / lost).rename(shoot / "0001_burst_4" / "best.JPG")
    outcome = regrouped(shoot, wish(STACK, 1, 2, 3, 4))
    assert outcome.left == {lost: NOT_IN_PLACE}
    assert outcome.behind == ("0001_burst_4/best.JPG",)
    assert sequences(shoot)[1] == ("focus-bracket", (1, 3, 4))
    assert sequences(shoot)[4] == ("single", (2,))
    assert (shoot / "0001_burst_4" / "IMG_0002.xmp").is_file()
    findings = found(shoot)
    assert (findings.missing, findings.added) == ([], [])
    assert findings.ways == {lost: "0001_burst_4/best.JPG"}


def test_sidecars_of_the_users_own_are_named(shoot: Path) -> None:
    (shoot / "0001_burst_4" / "IMG_0003.JPG.xmp").write_text("five stars")
    assert regrouped(shoot, wish(STACK, 3, 4)).behind == ("0001_burst_4/IMG_0003.JPG.xmp",)


def test_what_was_changed_since_goes_along_as_it_is(shoot: Path) -> None:
    (shoot / "0001_burst_4" / "IMG_0003.xmp").write_text("five stars")
    regrouped(shoot, wish(STACK, 3, 4))
    assert (shoot / "0004_focus-bracket_2" / "IMG_0003.xmp").read_text() == "five stars"
    assert found(shoot).edited == ["0004_focus-bracket_2/IMG_0003.xmp"]


# ---- ingests, undos, second copies -------------------------------------------------------------


def test_the_same_card_again_adds_nothing(card: Path, shoot: Path) -> None:
    regrouped(shoot, wish(STACK, 3, 4), wish(MARKER, 5))
    before = contents(shoot)
    assert ingest(card, shoot).new == ()
    assert contents(shoot) == before
    assert sequences(shoot)[4] == ("focus-bracket", (3, 4))


def test_an_undo_takes_the_regrouping_back_and_the_next_one_the_ingest(
    card: Path, shoot: Path
) -> None:
    before = contents(shoot)
    regrouped(shoot, wish(STACK, 3, 4), wish(MARKER, 2))
    assert contents(shoot) != before
    outcome = undo(shoot)
    assert outcome.moved_within == 8
    assert contents(shoot) == before  # manifest.csv and SHA256SUMS too
    holds(card, shoot)
    undo(shoot)
    assert not shoot.exists()


def test_two_regroupings_are_taken_back_one_after_the_other(card: Path, shoot: Path) -> None:
    states = [contents(shoot)]
    for wished in (wish(STACK, 3, 4), wish(BURST, 1, 2, 3, 4, 5), wish(SINGLE, 4)):
        regrouped(shoot, wished)
        holds(card, shoot)
        states.append(contents(shoot))
    for state in reversed(states[:-1]):
        undo(shoot)
        assert contents(shoot) == state


def test_an_ingest_that_came_after_is_taken_back_first(card: Path, shoot: Path) -> None:
    first = contents(shoot)
    regrouped(shoot, wish(SINGLE, 1))
    second = contents(shoot)
    picture(card / ANEMONES / "IMG_0009.JPG", 2000, shade=3)
    ingest(card, shoot)
    assert contents(shoot) != second
    undo(shoot)
    assert contents(shoot) == second
    undo(shoot)
    assert contents(shoot) == first


def test_what_came_to_an_old_place_since_stays(shoot: Path) -> None:
    regrouped(shoot, wish(STACK, 3, 4))
    (shoot / "0001_burst_4").mkdir()
    (shoot / "0001_burst_4" / "IMG_0003.JPG").write_bytes(b"barnacles")
    undo(shoot)
    assert (shoot / "0001_burst_4" / "IMG_0003.JPG").read_bytes() == b"barnacles"
    assert destinations(shoot)[f"{LIMPETS}/IMG_0003.JPG"] == "0001_burst_4/IMG_0003_2.JPG"
    hold_consistent(shoot)


def test_the_second_copy_keeps_its_places(card: Path, tmp_path: Path) -> None:
    shoot, second = tmp_path / "shoot", tmp_path / "second"
    ingest(card, shoot, backup=second)
    before = {path for path in contents(second) if "/" in path}
    for step in (lambda: regrouped(shoot, wish(STACK, 3, 4)), lambda: undo(shoot)):
        step()
        for mends in (False, True):
            both = verify_both(shoot, second, lambda *_: None, lambda *_: None, mends=mends)
            assert not any(each.findings.has_failed or each.findings.mended for each in both)
            assert not any(each.findings.edited or each.findings.added for each in both)
        assert {path for path in contents(second) if "/" in path} == before
        assert sequences(second) == sequences(shoot)
        ingest(card, shoot, backup=second)
        hold_whole(second, contents(card))


def test_a_lost_file_is_mended_from_the_second_copy_into_its_new_place(
    card: Path, tmp_path: Path
) -> None:
    shoot, second = tmp_path / "shoot", tmp_path / "second"
    ingest(card, shoot, backup=second)
    regrouped(shoot, wish(STACK, 3, 4))
    (shoot / "0004_focus-bracket_2" / "IMG_0003.JPG").unlink()
    verify_both(shoot, second, lambda *_: None, lambda *_: None, mends=True)
    holds(card, shoot)


# ---- what is refused ---------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("options", "said"),
    [
        ([wish(STACK, 99)], "this shoot has no frame 99"),
        ([wish(STACK, 1, 2), wish(BURST, 2, 3)], "frame 2 is named in two regroupings"),
        ([wish(Kind.CLIP, 1)], "clip is no kind of sequence"),
    ],
)
def test_what_does_not_fit_is_refused(shoot: Path, options: list[object], said: str) -> None:
    before = contents(shoot)
    with pytest.raises(BadChoice, match=said):
        regrouped(shoot, *options)  # type: ignore[arg-type]
    assert contents(shoot) == before


def test_a_pattern_that_cannot_be_filled_in_is_refused(shoot: Path) -> None:
    with pytest.raises(BadPattern):
        regroup(shoot, [wish(STACK, 1, 2)], lambda *_: None, folder="{tide}")


def test_a_folder_that_is_no_shoot_is_refused(tmp_path: Path) -> None:
    with pytest.raises(NoShoot):
        regrouped(tmp_path, wish(STACK, 1))


def test_a_stopped_ingest_is_named(
    card: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    shoot = tmp_path / "shoot"
    with monkeypatch.context() as patch:
        patch.setattr(Shoot, "place", _interrupted)
        with pytest.raises(KeyboardInterrupt):
            ingest(card, shoot)
    with pytest.raises(BadShoot, match="`sorter ingest`"):
        regrouped(shoot, wish(STACK, 1))


def test_a_stopped_regrouping_is_named_by_all_others(
    card: Path, shoot: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with monkeypatch.context() as patch:
        patch.setattr(Shoot, "move", _interrupted)
        with pytest.raises(KeyboardInterrupt):
            regrouped(shoot, wish(STACK, 3, 4))
    for work in (lambda: found(shoot), lambda: ingest(card, shoot)):
        with pytest.raises(BadShoot, match=r"a regrouping was stopped here.*`sorter undo`"):
            work()
    refused = handoff(shoot, "--collect", shoot / "manifest.csv")
    assert refused.exit_code == 2
    assert "a regrouping was stopped here" in refused.stderr
    outcome = regrouped(shoot)
    assert (outcome.ended, outcome.moved) == (True, 8)
    holds(card, shoot)


def test_a_stopped_undo_is_named_and_ended(
    card: Path, shoot: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    before = contents(shoot)
    regrouped(shoot, wish(STACK, 3, 4))
    with monkeypatch.context() as patch:
        patch.setattr(Shoot, "move", _interrupted)
        with pytest.raises(KeyboardInterrupt):
            undo(shoot)
    for work in (lambda: found(shoot), lambda: regrouped(shoot, wish(STACK, 3, 4))):
        with pytest.raises(BadShoot, match=r"an undo was stopped here\. Run `sorter undo`"):
            work()
    undo(shoot)
    assert contents(shoot) == before
    holds(card, shoot)


def _interrupted(*_: object) -> None:
    raise KeyboardInterrupt


CALLS = ("mkdir", "fsync", "rename", "replace", "unlink", "rmdir", "open", "write")


def failing(patch: pytest.MonkeyPatch, at: int) -> list[str]:
    """The system's calls, of which the so-manieth fails, and each after it: the disk went away."""
    made: list[str] = []

    def counted(name: str, real: Callable[..., object]) -> Callable[..., object]:
        def call(*given: object, **named: object) -> object:
            made.append(name)
            if len(made) >= at:
                raise OSError(errno.EIO, os.strerror(errno.EIO))
            return real(*given, **named)

        return call

    for name in CALLS:
        patch.setattr(os, name, counted(name, getattr(os, name)))
    move = Shoot.move  # the rename that never replaces is no call of Python's
    patch.setattr(Shoot, "move", counted("move", move))
    return made


@pytest.mark.parametrize("back", [False, True], ids=["gone on with", "taken back"])
def test_a_disk_that_fails_at_any_call(
    card: Path, shoot: Path, monkeypatch: pytest.MonkeyPatch, tmp_path: Path, *, back: bool
) -> None:
    """Some calls may fail without harm; what is not stopped is done."""
    before, codes = contents(shoot), list[int]()
    options = (wish(STACK, 3, 4), wish(MARKER, 2))
    for at in range(1, 90):
        other = shutil.copytree(shoot, tmp_path / f"cut{at}", symlinks=True)
        with monkeypatch.context() as patch:
            made = failing(patch, at)
            try:
                regrouped(other, *options)
            except SorterError as error:
                codes.append(error.exit_code)
        if len(made) < at:
            break
        was_noted = _has_regrouping(other)
        if back and was_noted:
            undo(other)
            assert contents(other) == before
        else:
            regrouped(other, *options)
            assert sequences(other)[5] == ("focus-bracket", (3, 4))
        holds(card, other)
        shutil.rmtree(other)
    assert set(codes) == {3}
    assert len(codes) > 20


def _has_regrouping(shoot: Path) -> bool:
    with Ledger(shoot / ".sorter", hold=True, ends=True) as ledger:
        return bool(ledger.regroupings())


def test_moved_files_go_back_to_the_card_in_the_end(card: Path, tmp_path: Path) -> None:
    originals = contents(card)
    shoot = tmp_path / "shoot"
    ingest(card, shoot, moves=True)
    assert FIRST_OF_CARD not in contents(card)
    regrouped(shoot, wish(STACK, 3, 4), wish(MARKER, 2))
    hold_whole(shoot, originals)
    assert ingest(card, shoot, moves=True).new == ()
    undo(shoot)
    undo(shoot)
    assert contents(card) == originals


def test_a_card_that_grew_says_nothing_of_what_was_regrouped(card: Path, shoot: Path) -> None:
    regrouped(shoot, wish(STACK, 3, 4), wish(BURST, 2, 5))
    before, places = sequences(shoot), destinations(shoot)
    picture(card / ANEMONES / "IMG_0009.JPG", 2000, shade=3)
    ingest(card, shoot)
    after = sequences(shoot)
    assert {number: after[number] for number in before} == before
    assert {path: destinations(shoot)[path] for path in places} == places
    holds(card, shoot)


def test_what_the_undo_is_about_is_known_before(shoot: Path) -> None:
    regrouped(shoot, wish(STACK, 3, 4))
    with Undo(shoot, None) as work:
        assert work.operation.what is OperationKind.REGROUPING
        assert len(work.here) == 8


def test_pairs_of_frames_many_times(tmp_path: Path) -> None:
    """Back and forth, with other folder names: always whole, and clean for sha256sum."""
    card = limpets(tmp_path / "card", 4)
    shoot = tmp_path / "shoot"
    ingest(card, shoot, folder="{kind}")
    before = contents(shoot)
    options = [wish(STACK, 1, 2), wish(STACK, 3, 4), wish(BURST, 1, 2, 3, 4), wish(MARKER, 3)]
    for each in options:
        regroup(shoot, [each], lambda *_: None, folder="{kind}")
        holds(card, shoot)
    for _ in options:
        undo(shoot)
    assert contents(shoot) == before
