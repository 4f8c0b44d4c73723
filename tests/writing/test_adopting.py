"""Files that their owner moved within a shoot: found by their bytes, and noted where they lie.

That people rename and move the folders of a shoot is common practice, no source.
"""

from __future__ import annotations

import errno
import itertools
import os
import shutil
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

import tides
from faults.faulty import FoldsNames, faulty
from faults.mounting import needed
from handoff.tidal import FIRST, SECOND, handoff, results, run, tidal_shoot
from outside.tools import unlike_their_digests
from sorter.cli import commands
from sorter.disk.shoot import Shoot
from sorter.errors import BadShoot, ShootNotWritable
from sorter.model.kinds import Kind
from sorter.model.moved import Relocation
from sorter.model.plan import State
from sorter.pipeline import Findings, Verification, Verified, verify_both
from sorter.writing.ledger import Ledger
from writing.cards import (
    ANEMONES,
    LIMPETS,
    RECORDS,
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
from writing.faults import fails_at, read_faults
from writing.regrouping import folders, regrouped, sequences, wish

BURST = "0001_burst_4"
card = tides.linkless_card
shoot = tides.shoot_of_card


def adopt(shoot: Path) -> Findings:
    """What was moved is noted."""
    with Verification(shoot, adopts=True) as work:
        (each,) = work.inspect(lambda *_: None)
        work.adopt()
        return each.findings


def both(
    shoot: Path, other: Path, *, mends: bool = False, adopts: bool = False
) -> tuple[Verified, Verified]:
    return verify_both(shoot, other, lambda *_: None, lambda *_: None, mends=mends, adopts=adopts)


def move(shoot: Path, before: str, after: str) -> None:
    (shoot / after).parent.mkdir(parents=True, exist_ok=True)
    (shoot / before).rename(shoot / after)


def rearranged(shoot: Path) -> dict[str, str]:
    """The burst's folder renamed and put deeper, the singles merged to the top, the clip renamed."""
    move(shoot, BURST, "west pool/limpets on rock")
    move(shoot, "singles/IMG_0001.JPG", "anemone.JPG")
    move(shoot, "clips/MVI_0003.MP4", "results/splash.MP4")
    return {
        "singles/IMG_0001.JPG": "anemone.JPG",
        "clips/MVI_0003.MP4": "results/splash.MP4",
        **{
            f"{BURST}/IMG_{n:04d}.{e}": f"west pool/limpets on rock/IMG_{n:04d}.{e}"
            for n in range(1, 5)
            for e in ("JPG", "xmp")
        },
    }


def whole(card: Path, shoot: Path) -> None:
    """Every file of the card is in the shoot once, lists and ledger agree, nothing is to be said."""
    hold_whole(shoot, contents(card))
    findings = found(shoot)
    assert not findings.has_failed
    assert not findings.has_remarks, findings
    assert unlike_their_digests(shoot) == []  # GNU coreutils' sha256sum


# ---- what verifying tells ----------------------------------------------------------------------


def test_a_renamed_folder_is_found_and_nothing_is_changed(card: Path, shoot: Path) -> None:
    move(shoot, BURST, "limpets")
    before = tree(shoot)
    findings = found(shoot)
    assert findings.good == len(contents(card))
    assert findings.moves == (
        Relocation(before=f"{BURST}/", after="limpets/", files=8, is_folder=True),
    )
    assert (findings.missing, findings.added, findings.has_failed) == ([], [], False)
    assert findings.has_remarks
    assert tree(shoot) == before


def test_files_are_told_one_by_one_where_no_folder_went(shoot: Path) -> None:
    ways = rearranged(shoot)
    findings = found(shoot)
    assert findings.ways == ways
    assert [move.files for move in findings.moves] == [8, 1, 1]


def test_a_copy_is_added_and_moved_nothing(shoot: Path) -> None:
    shutil.copytree(shoot / BURST, shoot / "best")
    findings = found(shoot)
    assert (findings.moved, len(findings.added)) == ({}, 8)


def test_a_copy_beside_what_was_renamed_is_added(shoot: Path) -> None:
    shutil.copy(shoot / BURST / "IMG_0001.JPG", shoot / "singles" / "zz.JPG")
    move(shoot, f"{BURST}/IMG_0001.JPG", f"{BURST}/limpet.JPG")
    findings = found(shoot)
    assert findings.ways == {f"{BURST}/IMG_0001.JPG": f"{BURST}/limpet.JPG"}
    assert findings.added == ["singles/zz.JPG"]


def test_two_that_changed_places_are_found(card: Path, shoot: Path) -> None:
    one, two = f"{BURST}/IMG_0001.JPG", f"{BURST}/IMG_0002.JPG"
    move(shoot, one, "x")
    move(shoot, two, one)
    move(shoot, "x", two)
    findings = found(shoot)
    assert findings.ways == {one: two, two: one}
    assert (findings.has_failed, findings.added) == (False, [])
    adopt(shoot)
    whole(card, shoot)


def test_two_sidecars_that_changed_places_are_no_edits(card: Path, shoot: Path) -> None:
    one, two = f"{BURST}/IMG_0001.xmp", f"{BURST}/IMG_0002.xmp"
    move(shoot, one, "x")
    move(shoot, two, one)
    move(shoot, "x", two)
    findings = found(shoot)
    assert (findings.ways, findings.edited) == ({one: two, two: one}, [])
    adopt(shoot)
    whole(card, shoot)


def test_a_sidecar_that_has_anothers_text_is_edited(shoot: Path) -> None:
    """Settings that were copied from one picture to another, as raw programs do it."""
    shutil.copy(shoot / BURST / "IMG_0001.xmp", shoot / BURST / "IMG_0002.xmp")
    findings = found(shoot)
    assert (findings.moved, findings.edited) == ({}, [f"{BURST}/IMG_0002.xmp"])


def test_damage_is_not_called_moved_where_a_copy_lies_elsewhere(shoot: Path) -> None:
    shutil.copytree(shoot / BURST, shoot / "best")
    path = shoot / BURST / "IMG_0002.JPG"
    path.write_bytes(path.read_bytes()[:-1] + b"\0")
    findings = found(shoot)
    assert (findings.changed, findings.moved) == ([f"{BURST}/IMG_0002.JPG"], {})


def test_files_that_were_numbered_anew_after_one_was_deleted(card: Path, shoot: Path) -> None:
    names = [f"{BURST}/IMG_{n:04d}.JPG" for n in range(1, 5)]
    (shoot / names[0]).unlink()
    for before, after in zip(names[1:], names, strict=False):
        move(shoot, before, after)
    findings = found(shoot)
    assert findings.ways == dict(zip(names[1:], names, strict=False))
    assert (findings.missing, findings.changed) == ([names[0]], [])
    findings = adopt(shoot)
    assert findings.missing == [f"{BURST}/IMG_0001_2.JPG"]
    again = found(shoot)
    assert (again.missing, again.changed, again.moved) == (findings.missing, [], {})
    (named,) = [row for row in rows(shoot) if row.destination == findings.missing[0]]
    assert "named IMG_0001_2.JPG here: another file has its name" in named.notes
    ingest(card, shoot)
    whole(card, shoot)


def test_edited_sidecars_go_with_their_folder(card: Path, shoot: Path) -> None:
    (shoot / BURST / "IMG_0001.xmp").write_text("five stars")
    move(shoot, BURST, "limpets")
    findings = found(shoot)
    assert findings.edited == ["limpets/IMG_0001.xmp"]
    assert (findings.missing, findings.added, len(findings.moved)) == ([], [], 8)
    assert findings.good == len(contents(card)) - 1
    adopt(shoot)
    again = found(shoot)
    assert (again.edited, again.moved, again.missing) == (["limpets/IMG_0001.xmp"], {}, [])
    assert destinations(shoot)[f"{LIMPETS}/IMG_0001.xmp"] == "limpets/IMG_0001.xmp"


def test_a_picture_that_was_edited_and_moved_is_missing_and_added(shoot: Path) -> None:
    (shoot / BURST / "IMG_0001.JPG").write_bytes(b"cropped")
    move(shoot, BURST, "limpets")
    findings = found(shoot)
    assert findings.missing == [f"{BURST}/IMG_0001.JPG"]
    assert findings.added == ["limpets/IMG_0001.JPG"]
    assert findings.moves == (
        Relocation(before=f"{BURST}/", after="limpets/", files=7, is_folder=True),
    )


def test_a_folder_that_is_a_link_to_where_it_was_moved(card: Path, shoot: Path) -> None:
    """Its owner left a link, so that programs find it under its old name."""
    move(shoot, BURST, "limpets")
    (shoot / BURST).symlink_to("limpets")
    findings = found(shoot)
    assert (len(findings.moved), findings.unreadable) == (8, {})
    adopt(shoot)
    assert found(shoot).good == len(contents(card))
    assert not found(shoot).has_failed


@pytest.mark.parametrize("stand_in", ["link", "folder", "litter", "report", "hidden"])
def test_what_is_no_file_of_the_owners_is_no_place(shoot: Path, stand_in: str) -> None:
    path = shoot / BURST / "IMG_0001.JPG"
    data = path.read_bytes()
    path.unlink()
    outside = shoot.parent / "outside.JPG"
    outside.write_bytes(data)
    if stand_in == "link":
        (shoot / "limpet.JPG").symlink_to(outside)
    elif stand_in == "folder":
        (shoot / "linked").symlink_to(shoot.parent)
    else:
        places = {
            "litter": "._limpet.JPG",
            "report": "report/limpet.JPG",
            "hidden": ".sorter/replaced/1_1_limpet.JPG",
        }
        place = shoot / places[stand_in]
        place.parent.mkdir(exist_ok=True, parents=True)
        place.write_bytes(data)
    findings = found(shoot)
    assert (findings.missing, findings.moved) == ([f"{BURST}/IMG_0001.JPG"], {})


def test_a_moved_file_that_the_disk_does_not_give_is_missing(
    shoot: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    move(shoot, BURST, "limpets")
    read_faults(monkeypatch, shoot / "limpets" / "IMG_0002.JPG", times=2)
    findings = found(shoot)
    assert findings.missing == [f"{BURST}/IMG_0002.JPG"]
    assert findings.added == ["limpets/IMG_0002.JPG"]
    assert len(findings.moved) == 7


def test_only_what_has_the_size_of_a_missing_file_is_read(
    shoot: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (shoot / "tides.bin").write_bytes(b"splash" * 500_000)
    move(shoot, f"{BURST}/IMG_0001.JPG", "limpet.JPG")
    seen: list[str] = []
    measured = Shoot.measured

    def told(self: Shoot, path: str, progress: Callable[[int], None] | None = None) -> object:
        seen.append(path)
        return measured(self, path, progress)

    monkeypatch.setattr(Shoot, "measured", told)
    assert len(found(shoot).moved) == 1
    assert "limpet.JPG" in seen
    assert "tides.bin" not in seen


def test_a_name_that_changed_its_case_alone(card: Path, tmp_path: Path) -> None:
    """On a disk that takes capitals for small letters the old name leads to the file still."""
    needed()
    shoot, below = tmp_path / "disk" / "shoot", tmp_path / "below" / "shoot"
    with faulty(shoot.parent, below.parent, FoldsNames()) as disk:
        ingest(card, shoot)
        (below / BURST / "IMG_0001.JPG").rename(below / BURST / "Img_0001.jpg")
        (below / "singles").rename(below / "Singles")
        (below / BURST / "IMG_0002.xmp").write_text("five stars")
        (below / BURST / "IMG_0002.xmp").rename(below / BURST / "img_0002.XMP")
        findings = found(shoot)
        assert disk.met(FoldsNames())
        assert (findings.added, findings.missing) == ([], [])
        assert findings.good == len(contents(card)) - 1
        assert findings.edited == [f"{BURST}/img_0002.XMP"]
        assert findings.ways == {
            f"{BURST}/IMG_0001.JPG": f"{BURST}/Img_0001.jpg",
            f"{BURST}/IMG_0002.xmp": f"{BURST}/img_0002.XMP",
            "singles/IMG_0001.JPG": "Singles/IMG_0001.JPG",
            "singles/IMG_0002.JPG": "Singles/IMG_0002.JPG",
        }
        adopt(shoot)
        findings = found(shoot)
        assert (findings.moved, findings.added) == ({}, [])
        assert findings.edited == [f"{BURST}/img_0002.XMP"]


def test_a_name_that_changed_its_case_alone_where_that_is_another_name(
    card: Path, shoot: Path
) -> None:
    move(shoot, BURST, BURST.upper())
    assert len(found(shoot).moved) == 8
    adopt(shoot)
    whole(card, shoot)


# ---- noting it ---------------------------------------------------------------------------------


def test_what_was_moved_is_noted_and_no_file_is_touched(card: Path, shoot: Path) -> None:
    ways = rearranged(shoot)
    before = destinations(shoot)
    kept = {path: stat for path, stat in contents(shoot).items() if "/" in path}
    findings = adopt(shoot)
    assert findings.ways == ways
    assert not findings.has_remarks
    assert {path: data for path, data in contents(shoot).items() if "/" in path} == kept
    assert destinations(shoot) == {
        source: ways.get(place, place) for source, place in before.items()
    }
    whole(card, shoot)


def test_where_nothing_was_moved_nothing_is_written(shoot: Path) -> None:
    before = {path: about for path, about in tree(shoot).items() if ".sorter" not in path}
    adopt(shoot)
    after = tree(shoot)
    assert {path: after[path] for path in before if path != str(shoot)} == {
        path: about for path, about in before.items() if path != str(shoot)
    }


def test_a_second_adoption_notes_what_was_moved_since(card: Path, shoot: Path) -> None:
    rearranged(shoot)
    adopt(shoot)
    move(shoot, "west pool", "east pool")
    assert len(adopt(shoot).adopted) == 8
    whole(card, shoot)
    move(shoot, "east pool/limpets on rock", BURST)
    assert len(adopt(shoot).adopted) == 8
    whole(card, shoot)


def test_a_name_that_is_no_text_is_told_of_and_not_noted(shoot: Path) -> None:
    odd = os.fsdecode(b"limpet-\xff.JPG")
    move(shoot, f"{BURST}/IMG_0001.JPG", odd)
    move(shoot, f"{BURST}/IMG_0002.JPG", "whelk.JPG")
    findings = adopt(shoot)
    assert [e.row.destination for e in findings.adopted.values()] == [f"{BURST}/IMG_0002.JPG"]
    assert [e.row.destination for e in findings.moved.values()] == [f"{BURST}/IMG_0001.JPG"]
    assert found(shoot).ways == {f"{BURST}/IMG_0001.JPG": odd}


@pytest.mark.parametrize("name", ["-rf", "=1+1", "a\nb", 'lim"pet', "潮 だまり", "\\x"])
def test_any_other_name_can_be_noted(card: Path, shoot: Path, name: str) -> None:
    move(shoot, BURST, name)
    adopt(shoot)
    assert not found(shoot).has_remarks
    assert unlike_their_digests(shoot) == []
    ingest(card, shoot)
    assert sorted(contents(shoot)) == sorted(
        {*destinations(shoot).values(), "manifest.csv", "SHA256SUMS"}
    )


def test_after_a_stop_between_ledger_and_lists_the_next_run_writes_them(
    card: Path, shoot: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    for call in (1, 2):
        rearranged(shoot) if call == 1 else move(shoot, "west pool", "east pool")
        with monkeypatch.context() as patch:
            fails_at(patch, Shoot, "replace", call=call, error=OSError(errno.EIO, "broken"))
            with pytest.raises(ShootNotWritable):
                adopt(shoot)
        findings = found(shoot)
        assert (findings.moved, findings.has_failed) == ({}, False)
        assert findings.edited
        adopt(shoot)
        whole(card, shoot)


def test_an_undo_that_was_stopped_is_to_be_ended_first(
    shoot: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with monkeypatch.context() as patch:
        fails_at(patch, Shoot, "remove", call=3, error=OSError(errno.EIO, "broken"))
        with pytest.raises(ShootNotWritable):
            undo(shoot)
    with pytest.raises(BadShoot, match="an undo was stopped here"):
        adopt(shoot)


def test_a_stopped_ingest_goes_on_after_it(
    card: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    shoot = tmp_path / "shoot"
    with monkeypatch.context() as patch:
        patch.setattr("sorter.writing.carry.BATCH_FILES", 2)
        fails_at(patch, Shoot, "new_file", call=7, error=OSError(errno.ENOSPC, "full"))
        with pytest.raises(Exception, match="full"):
            ingest(card, shoot)
    move(shoot, BURST, "limpets")
    assert 0 < len(adopt(shoot).adopted) < 8
    ingest(card, shoot)
    hold_whole(shoot, contents(card))
    assert not found(shoot).has_remarks


# ---- what works afterwards ---------------------------------------------------------------------


@pytest.fixture
def adopted(shoot: Path) -> Path:
    """A shoot with files in other folders, deeper and at the top, and this noted."""
    rearranged(shoot)
    adopt(shoot)
    return shoot


def test_a_repeated_ingest_carries_nothing_again(card: Path, adopted: Path) -> None:
    report = ingest(card, adopted)
    assert report.new == ()
    assert report.verified == len(contents(card))
    whole(card, adopted)


def test_more_frames_of_a_sequence_come_to_where_it_lies(card: Path, adopted: Path) -> None:
    picture(card / LIMPETS / "IMG_0005.JPG", 1.25, shade=130)
    (card / ANEMONES / "IMG_0001.xmp").write_text("<x:xmpmeta>an anemone</x:xmpmeta>")
    ingest(card, adopted)
    place = destinations(adopted)
    assert place[f"{LIMPETS}/IMG_0005.JPG"] == "west pool/limpets on rock/IMG_0005.JPG"
    assert place[f"{ANEMONES}/IMG_0001.xmp"] == "singles/IMG_0001.xmp"
    assert len(sequences(adopted)[1][1]) == 5
    whole(card, adopted)
    undo(adopted)
    assert destinations(adopted)[f"{LIMPETS}/IMG_0001.JPG"].startswith("west pool/limpets on")


def test_what_is_lost_is_carried_to_the_place_that_it_had(card: Path, adopted: Path) -> None:
    (adopted / "anemone.JPG").unlink()
    (adopted / "west pool/limpets on rock/IMG_0002.JPG").unlink()
    before = destinations(adopted)
    ingest(card, adopted)
    assert destinations(adopted) == before
    whole(card, adopted)


def test_an_undo_removes_copies_and_folders_where_they_lie_now(card: Path, adopted: Path) -> None:
    for folder in ("singles", "clips"):  # the owner emptied the latter
        if not any((adopted / folder).iterdir()):
            (adopted / folder).rmdir()
    assert undo(adopted).given_up
    undo(adopted)
    assert not adopted.exists()
    assert contents(card)


def test_moved_files_go_back_to_the_card_from_where_they_lie_now(
    card: Path, tmp_path: Path
) -> None:
    originals, shoot = contents(card), tmp_path / "shoot"
    ingest(card, shoot, moves=True)
    rearranged(shoot)
    adopt(shoot)
    assert undo(shoot).given_up
    undone = undo(shoot)
    assert undone.returned == len(originals)
    assert contents(card) == originals


def test_a_regrouping_and_its_undo(card: Path, adopted: Path) -> None:
    before = contents(adopted)
    regrouped(adopted, wish(Kind.FOCUS_BRACKET, 3, 4, name="limpet"))
    assert folders(adopted)[3] == {"0004_focus-bracket_2_limpet"}
    whole(card, adopted)
    undo(adopted)
    assert contents(adopted) == before
    whole(card, adopted)


def test_a_regrouping_before_it_is_taken_back_and_files_stay_where_they_were_moved(
    card: Path, shoot: Path
) -> None:
    regrouped(shoot, wish(Kind.MARKER, 2))
    move(shoot, "markers/IMG_0002.JPG", "west/hand.JPG")
    adopt(shoot)
    assert undo(shoot).given_up
    undo(shoot)
    adopt(shoot)
    assert sequences(shoot)[1] == ("burst", (1, 2, 3, 4))
    assert destinations(shoot)[f"{LIMPETS}/IMG_0002.JPG"] == "west/hand.JPG"
    whole(card, shoot)


def test_a_whole_sequence_that_is_regrouped_leaves_no_empty_folder(
    card: Path, adopted: Path
) -> None:
    regrouped(adopted, wish(Kind.MANUAL_STACK, 1, 2, 3, 4))
    assert not (adopted / "west pool").exists()
    whole(card, adopted)


# ---- hand-off and results ----------------------------------------------------------------------


@pytest.fixture(scope="module")
def tidal(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tidal_shoot(tmp_path_factory.mktemp("tide"))


@pytest.fixture
def pools(tidal: Path, tmp_path: Path) -> Path:
    """Three slices, four slices, a burst of three and a lone frame; each series has its name."""
    return shutil.copytree(tidal, tmp_path / "pools")


def test_a_hand_off_is_refused_before_and_whole_after(pools: Path) -> None:
    move(pools, FIRST, "west/limpet")
    move(pools, SECOND, "east/anemone")
    listed = pools.parent / "lists"
    refused = handoff(pools, "--list", listed)
    assert "`sorter verify --adopt` notes its new place" in refused.stderr
    adopt(pools)
    done = handoff(pools, "--list", listed)
    assert (done.exit_code, done.stderr) == (0, "")
    assert sorted(path.name for path in listed.iterdir()) == ["anemone.txt", "limpet.txt"]
    for path in (listed / "limpet.txt").read_text().splitlines():
        assert Path(path).is_file()


def test_two_folders_of_one_name_get_no_list_of_one_name(pools: Path) -> None:
    move(pools, FIRST, "west/pool")
    move(pools, SECOND, "east/pool")
    adopt(pools)
    listed = pools.parent / "lists"
    assert handoff(pools, "--list", listed).exit_code == 0
    assert sorted(path.name for path in listed.iterdir()) == [
        "0001_focus-bracket_3.txt",
        "0002_manual-stack_4.txt",
    ]


def test_stacks_are_merged_and_results_found_again(pools: Path) -> None:
    move(pools, FIRST, "west/limpet")
    adopt(pools)
    assert run(pools, "average").exit_code == 0
    (first, *_) = results(pools)
    move(pools, first.destination, "west/limpet/merged.jpg")
    findings = adopt(pools)
    assert [*findings.ways.values()] == ["west/limpet/merged.jpg"]
    hold_consistent(pools)
    assert not found(pools).has_remarks
    again = run(pools, "average")
    assert again.exit_code == 0
    assert len(results(pools)) == 2


# ---- a second copy -----------------------------------------------------------------------------


@pytest.fixture
def pair(card: Path, tmp_path: Path) -> tuple[Path, Path]:
    ingest(card, tmp_path / "shoot", backup=tmp_path / "other")
    return tmp_path / "shoot", tmp_path / "other"


def test_mending_copies_nothing_that_was_only_moved(card: Path, pair: tuple[Path, Path]) -> None:
    shoot, other = pair
    rearranged(shoot)
    before = {path for path in contents(shoot) if "/" in path}
    one, two = both(shoot, other, mends=True)
    assert (len(one.findings.moved), two.findings.moved) == (10, {})
    assert (one.findings.mended, two.findings.mended) == ([], [])
    assert {path for path in contents(shoot) if "/" in path} == before
    whole(card, other)


def test_what_was_moved_here_mends_what_is_lost_there(card: Path, pair: tuple[Path, Path]) -> None:
    shoot, other = pair
    rearranged(shoot)
    shutil.rmtree(other / BURST)
    _, two = both(shoot, other, mends=True)
    assert len(two.findings.mended) == 8
    whole(card, other)


def test_each_of_the_two_is_adopted_by_itself(card: Path, pair: tuple[Path, Path]) -> None:
    shoot, other = pair
    move(shoot, BURST, "limpets")
    move(other, BURST, "whelks")
    move(other, "clips/MVI_0003.MP4", "splash.MP4")
    one, two = both(shoot, other, adopts=True)
    assert (len(one.findings.adopted), len(two.findings.adopted)) == (8, 9)
    whole(card, shoot)
    whole(card, other)
    ingest(card, shoot, backup=other)
    assert destinations(shoot)[f"{LIMPETS}/IMG_0001.JPG"] == "limpets/IMG_0001.JPG"
    assert destinations(other)[f"{LIMPETS}/IMG_0001.JPG"] == "whelks/IMG_0001.JPG"
    whole(card, shoot)
    whole(card, other)


def test_mending_sets_no_file_aside_that_was_moved_to_anothers_place(
    card: Path, pair: tuple[Path, Path]
) -> None:
    shoot, other = pair
    one, two = f"{BURST}/IMG_0001.JPG", f"{BURST}/IMG_0002.JPG"
    (shoot / one).unlink()
    move(shoot, two, one)
    data = (shoot / one).read_bytes()
    mended, _ = both(shoot, other, mends=True)
    assert [*mended.unmended] == [one]
    assert (shoot / one).read_bytes() == data
    assert mended.aside == ()
    mended, _ = both(shoot, other, mends=True, adopts=True)
    assert mended.unmended == {}
    assert mended.findings.mended == [f"{BURST}/IMG_0001_2.JPG"]
    assert (shoot / one).read_bytes() == data
    whole(card, shoot)


def test_a_second_copy_without_a_ledger_gets_one_that_has_the_places_it_has(
    card: Path, pair: tuple[Path, Path]
) -> None:
    shoot, other = pair
    shutil.rmtree(other / ".sorter")
    move(other, BURST, "limpets")
    _, two = both(shoot, other)
    assert len(two.findings.moved) == 8
    _, two = both(shoot, other, mends=True)
    assert two.findings.mended == []
    whole(card, other)
    assert (other / "limpets").is_dir()
    assert not (other / BURST).exists()


def test_a_card_is_held_against_what_was_moved_too(card: Path, shoot: Path) -> None:
    from sorter.pipeline import against_card  # noqa: PLC0415

    rearranged(shoot)
    side = against_card(card, shoot, None, found(shoot), lambda *_: None)
    assert len(side.held_by(found(shoot))) == len(contents(card))


# ---- a repeated ingest without it --------------------------------------------------------------


def test_a_repeated_ingest_says_that_copies_lie_elsewhere(card: Path, shoot: Path) -> None:
    from sorter.cli import endings  # noqa: PLC0415
    from sorter.pipeline import Ingest, IngestOptions  # noqa: PLC0415
    from writing.cards import QUIET  # noqa: PLC0415

    move(shoot, BURST, "limpets")
    (shoot / "singles" / "IMG_0001.JPG").unlink()
    with Ingest(card, shoot, IngestOptions()) as work:
        plan = work.inspect(QUIET, hold=False)
    assert plan.astray == 8
    (said,) = [line for line in endings.beforehand(plan) if "--adopt" in line]
    assert said == (
        "8 files of the shoot are not in place, and as many of the same names and size lie elsewhere "
        "in it. What you moved is carried again by an ingest, unless "
        f"`sorter verify {shoot} --adopt` has noted where it lies now."
    )
    with Ledger(shoot / ".sorter", hold=False) as ledger:
        assert all(entry.state is State.PLACED for entry in ledger.entries())


def test_limpets_alone(tmp_path: Path) -> None:
    """The whole shoot is one folder, and that has another name."""
    card, shoot = limpets(tmp_path / "card"), tmp_path / "shoot"
    ingest(card, shoot)
    move(shoot, BURST, "2026-05-17/limpets")
    assert found(shoot).good == 8
    adopt(shoot)
    whole(card, shoot)


# ---- taken back ---------------------------------------------------------------------------------


def sorter(*arguments: object) -> Result:
    return CliRunner().invoke(commands, [*map(str, arguments)])


def test_an_undo_takes_the_adoption_back_and_moves_no_file(shoot: Path) -> None:
    before = contents(shoot)
    move(shoot, BURST, "limpets")
    moved = {path for path in contents(shoot) if path not in RECORDS}
    assert sorter("verify", shoot, "--adopt", "--yes").exit_code == 0
    outcome = sorter("undo", shoot, "--yes")
    assert outcome.exit_code == 0
    assert "the newest adoption, 8 files" in outcome.stderr
    assert "8 files noted where they lay before it, and none moved" in outcome.stdout
    assert {path for path in contents(shoot) if path not in RECORDS} == moved
    assert {name: contents(shoot)[name] for name in RECORDS} == {
        name: before[name] for name in RECORDS
    }
    again = sorter("verify", shoot)
    assert (again.exit_code, "moved by you" in again.stdout) == (1, True)
    assert sorter("verify", shoot, "--adopt", "--yes").exit_code == 0
    assert sorter("verify", shoot).exit_code == 0


def test_what_was_done_is_taken_back_in_its_order(shoot: Path) -> None:
    move(shoot, BURST, "limpets")
    sorter("verify", shoot, "--adopt", "--yes")
    move(shoot, "limpets", "deeper/limpets")
    sorter("verify", shoot, "--adopt", "--yes")
    newest = [sorter("undo", shoot, "--yes").stderr for _ in range(2)]
    assert all("the newest adoption" in each for each in newest)
    assert "moved by you" in sorter("verify", shoot).stdout
    sorter("verify", shoot, "--adopt", "--yes")
    assert "the newest adoption" in sorter("undo", shoot, "--yes").stderr
    assert "the newest ingest" in sorter("undo", shoot, "--yes").stderr
    assert not shoot.exists()


# ---- an ingest whose files lie in one another's places is taken back ------------------------------

ANEMONE = "singles/IMG_0001.JPG"


def change_places(shoot: Path) -> None:
    move(shoot, f"{BURST}/IMG_0001.JPG", "x")
    move(shoot, f"{BURST}/IMG_0002.JPG", f"{BURST}/IMG_0001.JPG")
    move(shoot, "x", f"{BURST}/IMG_0002.JPG")


def change_places_all_round(shoot: Path) -> None:
    move(shoot, f"{BURST}/IMG_0001.JPG", "x")
    move(shoot, f"{BURST}/IMG_0002.JPG", f"{BURST}/IMG_0001.JPG")
    move(shoot, ANEMONE, f"{BURST}/IMG_0002.JPG")
    move(shoot, "x", ANEMONE)


def follow_one_another(shoot: Path) -> None:
    """One goes to a place of its own, and another to where that was."""
    move(shoot, f"{BURST}/IMG_0001.JPG", "best/limpet.JPG")
    move(shoot, f"{BURST}/IMG_0002.JPG", f"{BURST}/IMG_0001.JPG")


@pytest.mark.parametrize("adopts", [False, True])
@pytest.mark.parametrize(
    ("how", "moves"),
    [
        (change_places, False),
        (change_places, True),
        (change_places_all_round, False),
        (change_places_all_round, True),
        (follow_one_another, True),
    ],
)
def test_an_ingest_whose_files_changed_places_is_taken_back_as_a_whole(
    card: Path, tmp_path: Path, how: Callable[[Path], None], *, moves: bool, adopts: bool
) -> None:
    shoot = tmp_path / "pool"
    before = contents(card)
    ingest(card, shoot, moves=moves)
    how(shoot)
    if adopts:
        assert adopt(shoot).adopted
        assert undo(shoot).given_up
    outcome = undo(shoot)
    done = outcome.returned if moves else outcome.removed
    assert (outcome.stay, outcome.lost, done) == ({}, [], len(before))
    assert contents(card) == before
    assert not shoot.exists() or how is follow_one_another  # an empty folder of its owner is left


def test_what_lay_in_anothers_place_goes_back_and_that_is_missed(
    card: Path, tmp_path: Path
) -> None:
    """The other is nowhere: that is said, and not that it was changed."""
    shoot = tmp_path / "pool"
    before = contents(card)
    ingest(card, shoot, moves=True)
    (shoot / BURST / "IMG_0001.JPG").unlink()
    move(shoot, f"{BURST}/IMG_0002.JPG", f"{BURST}/IMG_0001.JPG")
    outcome = undo(shoot)
    assert (outcome.stay, outcome.lost) == ({}, [f"{BURST}/IMG_0001.JPG"])
    del before[f"{LIMPETS}/IMG_0001.JPG"]
    assert contents(card) == before


@pytest.mark.parametrize("how", [change_places, change_places_all_round, follow_one_another])
def test_such_an_undo_is_gone_on_with_behind_any_cut(
    card: Path, tmp_path: Path, how: Callable[[Path], None], monkeypatch: pytest.MonkeyPatch
) -> None:
    shoot, kept = tmp_path / "pool", tmp_path / "kept"
    before = contents(card)
    ingest(card, shoot, moves=True)
    how(shoot)
    shutil.copytree(shoot, kept)
    give_back = Shoot.give_back
    for last in range(1, len(before) + 1):
        calls = itertools.count(1)

        def cut(*given: object, last: int = last, calls: Iterator[int] = calls) -> None:
            give_back(*given)  # type: ignore[arg-type]
            if next(calls) == last:
                raise KeyboardInterrupt

        with monkeypatch.context() as patch:
            patch.setattr(Shoot, "give_back", cut)
            with pytest.raises(KeyboardInterrupt):
                undo(shoot)
        outcome = undo(shoot)
        assert (outcome.stay, outcome.lost) == ({}, []), last
        assert contents(card) == before
        for path in before:
            (card / path).unlink()
        shutil.rmtree(shoot, ignore_errors=True)
        shutil.copytree(kept, shoot)
