"""Carrying under faults: every file once and equal, nothing replaced, nothing lost, and it goes on."""

from __future__ import annotations

import errno
import os
import shutil
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

import tides
from sorter.disk import files as door
from sorter.disk import shoot as shoots
from sorter.disk.shoot import Shoot
from sorter.errors import BadShoot, CardGone, NoRoom, ShootBusy, ShootNotWritable
from sorter.model.plan import Entry, State, WhyNotRemoved
from sorter.pipeline import Ingest, IngestOptions, Report, StageProgress
from sorter.writing import carry, moving
from sorter.writing.ledger import FILE, Ledger
from writing.cards import (
    ANEMONES,
    LIMPETS,
    QUIET,
    RECORDS,
    by_source,
    contents,
    destinations,
    found,
    hold_consistent,
    hold_whole,
    ingest,
    limpets,
    picture,
    rows,
    stamped,
    tree,
)
from writing.faults import (
    fails_at,
    full_disk,
    no_way_to_rename,
    other_devices,
    other_disks,
    read_faults,
    recorded,
    short_file,
    short_writes,
    spoiled_copies,
)

FIRST = f"{LIMPETS}/IMG_0001.JPG"
BURST = "0001_burst_4"
LISTS = [
    "write",
    "force .sorter/unfinished/manifest.csv",
    "write",
    "force .sorter/unfinished/SHA256SUMS",
]
card = tides.whole_card


@pytest.fixture
def shoot(tmp_path: Path) -> Path:
    return tmp_path / "pool" / "shoot"


@pytest.fixture
def one(tmp_path: Path) -> Path:
    """A card of one file."""
    picture(tmp_path / "one" / FIRST, 0)
    stamped(tmp_path / "one")
    return tmp_path / "one"


@pytest.fixture
def small_batches(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(carry, "BATCH_FILES", 3)


# ---- every file once ---------------------------------------------------------------------------


@pytest.mark.parametrize("batch", [1, 3, 64])
def test_every_file_is_there_once_and_equal(
    card: Path, shoot: Path, monkeypatch: pytest.MonkeyPatch, batch: int
) -> None:
    monkeypatch.setattr(carry, "BATCH_FILES", batch)
    before, originals = tree(card), contents(card)
    report = ingest(card, shoot)
    hold_whole(shoot, originals)
    assert tree(card) == before
    assert len(report.new) == report.verified == len(originals)
    assert [entry.row.source for entry in report.left] == ["latest.JPG"]
    assert destinations(shoot)["latest.JPG"] == ""


def test_modification_times_are_kept(card: Path, shoot: Path) -> None:
    ingest(card, shoot)
    for row in rows(shoot):
        if row.destination:
            stamp = (shoot / row.destination).stat().st_mtime_ns
            assert stamp == (card / row.source).stat().st_mtime_ns


def test_a_time_that_cannot_be_kept_is_a_note(
    one: Path, shoot: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def fail(*_: object, **__: object) -> None:
        raise OSError(errno.EPERM, os.strerror(errno.EPERM))

    monkeypatch.setattr(os, "utime", fail)
    report = ingest(one, shoot)
    hold_whole(shoot, contents(one))
    assert "its modification time could not be kept" in rows(shoot)[0].notes
    assert not report.failed


def test_the_files_of_a_frame_are_in_one_batch(
    card: Path, shoot: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(carry, "BATCH_FILES", 1)
    counts: list[int] = []
    note = Ledger.note

    def counting(self: Ledger, entries: Iterable[Entry]) -> None:
        entries = list(entries)
        counts.append(sum(entry.state is State.VERIFIED for entry in entries))
        note(self, entries)

    monkeypatch.setattr(Ledger, "note", counting)
    ingest(card, shoot)
    # four frames with a sidecar each, two frames without, three files that are no frame
    assert sorted(count for count in counts if count) == [1] * 5 + [2] * 4


def test_bytes_go_in_the_order_of_the_batch(
    card: Path, shoot: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(carry, "BATCH_BYTES", 1)
    ingest(card, shoot)
    hold_whole(shoot, contents(card))


# ---- in this order -----------------------------------------------------------------------------


def test_a_copy_is_forced_read_back_noted_placed_forced_and_noted(
    one: Path, shoot: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    done = recorded(monkeypatch, shoot)
    ingest(one, shoot)
    (place,) = [text for text in done if text.startswith("place")]
    assert place == "place singles/IMG_0001.JPG"
    assert done == [
        "write",
        "force .sorter/unfinished/1",
        "read back",
        "force .sorter/unfinished",
        "note verified",
        place,
        "force singles",
        "note placed",
        *LISTS,
    ]


def test_a_move_to_another_disk_ends_with_the_card(
    one: Path, shoot: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    other_devices(monkeypatch)
    done = recorded(monkeypatch, shoot)
    ingest(one, shoot, moves=True)
    assert done[-9:] == [
        "force singles",
        "note placed",
        "read the card",
        "remove IMG_0001.JPG",
        "note placed gone",
        *LISTS,
    ]
    assert contents(one) == {}


def test_a_move_on_one_disk_is_noted_renamed_and_noted(
    one: Path, shoot: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    done = recorded(monkeypatch, shoot)
    ingest(one, shoot, moves=True)
    assert done == [
        "read the card",
        "force .sorter/unfinished",
        "note verified",
        "take singles/IMG_0001.JPG",
        "force singles",
        "note placed gone",
        *LISTS,
    ]


def many_small(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(carry, "MANY", 4)


def test_many_small_copies_are_forced_at_once_after_the_last_and_before_any_is_read_back(
    tmp_path: Path, shoot: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    many_small(monkeypatch)
    limpets(tmp_path / "card")
    done = recorded(monkeypatch, shoot)
    force = Shoot.force_all

    def told(self: Shoot) -> bool:
        done.append("all")
        return force(self)

    monkeypatch.setattr(Shoot, "force_all", told)
    ingest(tmp_path / "card", shoot)
    files = len(contents(tmp_path / "card"))
    assert done[: 2 * files + 1] == ["write"] * files + ["all"] + ["read back"] * files
    assert not [text for text in done if text.startswith("force .sorter/unfinished/1")]


def test_where_a_disk_cannot_be_forced_as_a_whole_each_copy_is(
    tmp_path: Path, shoot: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    many_small(monkeypatch)
    limpets(tmp_path / "card")
    monkeypatch.setattr(Shoot, "force_all", lambda _: False)
    done = recorded(monkeypatch, shoot)
    ingest(tmp_path / "card", shoot)
    forced = {text for text in done if text.startswith("force .sorter/unfinished/")}
    copies = {f"force .sorter/unfinished/{n}" for n in range(1, len(by_source(shoot)) + 1)}
    assert copies <= forced


def test_a_disk_that_cannot_bring_all_to_rest_stops_the_run(
    card: Path, shoot: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    originals = contents(card)
    many_small(monkeypatch)
    with monkeypatch.context() as patch:
        fails_at(patch, Shoot, "force_all", call=1, error=OSError(errno.EIO, "Input/output error"))
        with pytest.raises(ShootNotWritable, match="Input/output error"):
            ingest(card, shoot)
    assert by_source(shoot) == {}
    ingest(card, shoot)
    hold_whole(shoot, originals)


# ---- moving ------------------------------------------------------------------------------------

WAYS: dict[str, Callable[[pytest.MonkeyPatch], None]] = {
    "one disk": lambda _: None,
    "two disks": other_devices,
    "two disks that look like one": other_disks,
    "a disk without renames": no_way_to_rename,
}


@pytest.mark.parametrize("way", WAYS)
@pytest.mark.usefixtures("small_batches")
def test_a_move_empties_the_card_of_what_is_in_the_shoot(
    card: Path, shoot: Path, monkeypatch: pytest.MonkeyPatch, way: str
) -> None:
    originals = contents(card)
    WAYS[way](monkeypatch)
    report = ingest(card, shoot, moves=True)
    hold_whole(shoot, originals)
    assert contents(card) == {}
    assert (card / "latest.JPG").is_symlink()
    assert not report.kept


@pytest.mark.parametrize("way", WAYS)
def test_a_frame_leaves_the_card_as_a_whole_or_not(
    card: Path, shoot: Path, monkeypatch: pytest.MonkeyPatch, way: str
) -> None:
    originals = contents(card)
    with monkeypatch.context() as patch:
        WAYS[way](patch)
        read_faults(patch, card / LIMPETS / "IMG_0002.xmp", times=99)
        report = ingest(card, shoot, moves=True)
    stay = [f"{LIMPETS}/IMG_0002.JPG", f"{LIMPETS}/IMG_0002.xmp"]
    assert sorted(contents(card)) == stay
    assert [entry.row.source for entry in report.failed] == stay[1:]
    assert by_source(shoot) == {path: originals[path] for path in originals if path != stay[1]}
    WAYS[way](monkeypatch)
    ingest(card, shoot, moves=True)
    hold_whole(shoot, originals)
    assert contents(card) == {}


def test_what_changed_on_the_card_meanwhile_is_not_removed(
    card: Path, shoot: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    other_devices(monkeypatch)
    remove, path = shoots.remove_from_card, card / LIMPETS / "IMG_0004.xmp"

    def edited_meanwhile(gone: str) -> None:
        path.write_text("edited on the card")
        remove(gone)

    monkeypatch.setattr(moving, "remove_from_card", edited_meanwhile)
    report = ingest(card, shoot, moves=True)
    assert contents(card) == {f"{LIMPETS}/IMG_0004.xmp": b"edited on the card"}
    assert [(entry.row.source, why) for entry, why in report.kept] == [
        (f"{LIMPETS}/IMG_0004.xmp", WhyNotRemoved.CHANGED)
    ]
    assert not report.is_whole


# ---- disks that do less than asked -------------------------------------------------------------


@pytest.mark.parametrize("most", [1, 700])
def test_a_system_that_takes_a_part_at_a_time_is_given_the_rest(
    one: Path, shoot: Path, monkeypatch: pytest.MonkeyPatch, most: int
) -> None:
    short_writes(monkeypatch, most)
    ingest(one, shoot)
    hold_whole(shoot, contents(one))


@pytest.mark.usefixtures("small_batches")
def test_a_copy_that_came_out_different_is_made_again(
    card: Path, shoot: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    spoiled_copies(monkeypatch, shoot, (card / FIRST).read_bytes(), times=1)
    report = ingest(card, shoot)
    hold_whole(shoot, contents(card))
    assert not report.failed


def test_a_copy_that_came_out_different_twice_is_never_placed(
    card: Path, shoot: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    originals = contents(card)
    with monkeypatch.context() as patch:
        spoiled_copies(patch, shoot, originals[FIRST], times=2)
        report = ingest(card, shoot)
    assert [entry.row.source for entry in report.differing] == [FIRST]
    assert by_source(shoot) == {path: originals[path] for path in originals if path != FIRST}
    assert "its copy came out different, twice" in next(
        row.notes for row in rows(shoot) if row.source == FIRST
    )
    hold_consistent(shoot)
    ingest(card, shoot)
    hold_whole(shoot, originals)


# ---- cards that give less than they say --------------------------------------------------------


def test_a_file_that_gives_fewer_bytes_than_its_size_is_not_carried(
    card: Path, shoot: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    originals = contents(card)
    with monkeypatch.context() as patch:
        short_file(patch, card / FIRST, 100)
        report = ingest(card, shoot)
    (failed,) = report.failed
    size = len(originals[FIRST])
    (said,) = failed.placement.carrying_notes
    assert str(said).endswith(f"cannot be read to its end: it gave 100 of {size} bytes")
    assert FIRST not in by_source(shoot)
    hold_consistent(shoot)
    ingest(card, shoot)
    hold_whole(shoot, originals)


def test_a_request_that_failed_is_made_once_more(
    card: Path, shoot: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    read_faults(monkeypatch, card / FIRST, times=1)
    assert not ingest(card, shoot).failed
    hold_whole(shoot, contents(card))


@pytest.mark.usefixtures("small_batches")
def test_a_file_that_cannot_be_read_is_named_the_others_go_and_the_next_run_tries_again(
    card: Path, shoot: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    originals = contents(card)
    with monkeypatch.context() as patch:
        read_faults(patch, card / FIRST, times=2)
        report = ingest(card, shoot)
    (failed,) = report.failed
    assert failed.row.source == FIRST
    assert str(failed.placement.carrying_notes[0]).endswith("cannot be read: Input/output error")
    assert by_source(shoot) == {path: originals[path] for path in originals if path != FIRST}
    hold_consistent(shoot)
    again = ingest(card, shoot)
    assert [entry.row.source for entry in again.new] == [FIRST]
    hold_whole(shoot, originals)


# ---- nothing is replaced -----------------------------------------------------------------------


@contextmanager
def looked_at(card: Path, shoot: Path, **options: object) -> Iterator[Callable[[], Report]]:
    """What carries out the plan that was made."""
    with Ingest(card, shoot, IngestOptions(**options)) as work:  # type: ignore[arg-type]
        plan = work.inspect(QUIET, hold=True)
        yield lambda: work.carry(plan, QUIET)


@pytest.mark.parametrize("ways", ["all", "second names", "none"])
@pytest.mark.parametrize("moves", [True, False])
def test_a_file_that_came_in_between_is_never_replaced(
    card: Path, shoot: Path, monkeypatch: pytest.MonkeyPatch, ways: str, *, moves: bool
) -> None:
    originals = contents(card)
    if ways != "all":
        no_way_to_rename(monkeypatch, second_names=ways == "second names")
    with looked_at(card, shoot, moves=moves) as carry:
        (shoot / BURST).mkdir(parents=True)
        (shoot / BURST / "IMG_0001.JPG").write_bytes(b"a crab")
        (shoot / BURST / "IMG_0001_2.JPG").write_bytes(b"another crab")
        carry()
    assert (shoot / BURST / "IMG_0001.JPG").read_bytes() == b"a crab"
    assert (shoot / BURST / "IMG_0001_2.JPG").read_bytes() == b"another crab"
    assert destinations(shoot)[FIRST] == f"{BURST}/IMG_0001_3.JPG"
    assert by_source(shoot) == originals
    assert found(shoot).added == [f"{BURST}/IMG_0001.JPG", f"{BURST}/IMG_0001_2.JPG"]
    assert "another file came in between" in next(
        row.notes for row in rows(shoot) if row.source == FIRST
    )


def test_a_link_that_came_in_between_is_not_followed(card: Path, shoot: Path) -> None:
    elsewhere = shoot.parent / "elsewhere.JPG"
    with looked_at(card, shoot) as carry:
        (shoot / BURST).mkdir(parents=True)
        (shoot / BURST / "IMG_0001.JPG").symlink_to(elsewhere)
        carry()
    assert not elsewhere.exists()
    assert destinations(shoot)[FIRST] == f"{BURST}/IMG_0001_2.JPG"


def test_a_folder_that_became_a_link_is_refused(card: Path, shoot: Path) -> None:
    originals = contents(card)
    elsewhere = shoot.parent / "elsewhere"
    elsewhere.mkdir(parents=True)
    with looked_at(card, shoot) as carry:
        shoot.mkdir()
        (shoot / "singles").symlink_to(elsewhere)
        with pytest.raises(BadShoot, match=r"singles in .* is a link to another place"):
            carry()
    assert list(elsewhere.iterdir()) == []
    (shoot / "singles").unlink()
    ingest(card, shoot)
    hold_whole(shoot, originals)


def test_a_file_that_came_in_the_place_of_a_folder_stops_with_a_sentence(
    card: Path, shoot: Path
) -> None:
    originals = contents(card)
    with looked_at(card, shoot) as carry:
        shoot.mkdir(parents=True)
        (shoot / "singles").write_text("limpet, anemone")
        with pytest.raises(ShootNotWritable, match="singles is a file") as stopped:
            carry()
    assert stopped.value.exit_code == 3
    assert (shoot / "singles").read_text() == "limpet, anemone"
    hold_consistent(shoot)
    (shoot / "singles").unlink()
    ingest(card, shoot)
    hold_whole(shoot, originals)


def test_two_names_of_one_file_become_one(
    card: Path, shoot: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A run that ends between the second name and taking the first away carried that file."""
    originals = contents(card)

    def fail(*_: object) -> None:
        raise OSError(errno.EINVAL, os.strerror(errno.EINVAL))

    def linked_only(source: str, target: str) -> None:
        os.link(source, target)
        raise KeyboardInterrupt

    with monkeypatch.context() as patch:
        patch.setattr(door, "_rename_exclusive", fail)
        patch.setattr(door, "_link_and_unlink", linked_only)
        with pytest.raises(KeyboardInterrupt):
            ingest(card, shoot)
    ingest(card, shoot)
    hold_whole(shoot, originals)


# ---- stopped -----------------------------------------------------------------------------------


def goes_on(card: Path, shoot: Path, originals: dict[str, bytes]) -> None:
    """The next run ends what was begun, by the plan that was begun with."""
    if (shoot / "manifest.csv").exists():  # a disk that is full takes no lists either
        hold_consistent(shoot)
    planned = {entry.row.source: entry.row.destination for entry in noted(shoot)}
    ingest(card, shoot, folder="other {sequence}")
    hold_whole(shoot, originals)
    assert destinations(shoot) == planned
    assert found(shoot).good == len(originals)


def noted(shoot: Path) -> tuple[Entry, ...]:
    with Ledger(shoot / ".sorter", hold=False) as ledger:
        return ledger.entries()


@pytest.mark.parametrize("number", [errno.ENOSPC, errno.EDQUOT])
@pytest.mark.parametrize("after", [0, 1, 4, 7, 11])
@pytest.mark.usefixtures("small_batches")
def test_a_full_disk_stops_and_the_next_run_goes_on(
    card: Path, shoot: Path, monkeypatch: pytest.MonkeyPatch, after: int, number: int
) -> None:
    originals = contents(card)
    with monkeypatch.context() as patch:
        full_disk(patch, after=after, number=number)
        with pytest.raises(NoRoom, match="run the same command again") as stopped:
            ingest(card, shoot)
    assert stopped.value.exit_code == 3
    assert len(contents(shoot).keys() - RECORDS) < len(originals)
    goes_on(card, shoot, originals)


def test_a_disk_that_refuses_a_write_stops_too(
    card: Path, shoot: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    originals = contents(card)
    with monkeypatch.context() as patch:
        full_disk(patch, after=5, number=errno.EROFS)
        with pytest.raises(ShootNotWritable, match="Read-only file system") as stopped:
            ingest(card, shoot)
    assert stopped.value.exit_code == 3
    goes_on(card, shoot, originals)


@pytest.mark.parametrize("after", [1, 3000, 6000])
@pytest.mark.usefixtures("small_batches")
def test_a_card_that_is_pulled_stops_and_the_next_run_goes_on(
    card: Path, shoot: Path, after: int
) -> None:
    originals, pulled = contents(card), card.with_name("pulled")

    def pull(done: int, _: int) -> None:
        if done >= after and card.exists():
            card.rename(pulled)

    progress = StageProgress(reading=QUIET.reading, comparing=QUIET.comparing, carrying=pull)
    with pytest.raises(CardGone, match="Put it back in") as stopped:
        ingest(card, shoot, progress=progress)
    assert stopped.value.exit_code == 3
    pulled.rename(card)
    goes_on(card, shoot, originals)


STOPS = [("note", call) for call in (1, 2, 3, 4, 7)] + [
    ("place", 1),
    ("place", 4),
    ("force_folders", 3),
    ("new_file", 5),
]


@pytest.mark.parametrize(("verb", "call"), STOPS)
@pytest.mark.parametrize("moves", [True, False])
@pytest.mark.usefixtures("small_batches")
def test_an_interrupt_stops_and_the_next_run_goes_on(
    card: Path, shoot: Path, monkeypatch: pytest.MonkeyPatch, verb: str, call: int, *, moves: bool
) -> None:
    originals = contents(card)
    with monkeypatch.context() as patch:
        other_devices(patch)
        owner = Ledger if verb == "note" else Shoot
        fails_at(patch, owner, verb, call=call, error=KeyboardInterrupt())
        with pytest.raises(KeyboardInterrupt):
            ingest(card, shoot, moves=moves)
    goes_on(card, shoot, originals)
    assert contents(card) == ({} if moves else originals)


@pytest.mark.parametrize("call", [1, 3, 8])
def test_an_interrupt_while_the_card_is_emptied_loses_nothing(
    card: Path, shoot: Path, monkeypatch: pytest.MonkeyPatch, call: int
) -> None:
    originals = contents(card)
    with monkeypatch.context() as patch:
        other_devices(patch)
        fails_at(patch, moving, "remove_from_card", call=call, error=KeyboardInterrupt())
        with pytest.raises(KeyboardInterrupt):
            ingest(card, shoot, moves=True)
    hold_consistent(shoot)
    ingest(card, shoot, moves=True)
    hold_whole(shoot, originals)
    assert contents(card) == {}


def test_what_came_onto_the_card_since_is_planned_after_the_stored_plan(
    card: Path, shoot: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with monkeypatch.context() as patch:
        full_disk(patch, after=3)
        with pytest.raises(NoRoom):
            ingest(card, shoot)
    picture(card / ANEMONES / "IMG_0005.JPG", 1200)
    report = ingest(card, shoot)
    hold_whole(shoot, contents(card))
    assert report.verified == len(contents(card))


def test_a_stored_plan_of_copies_is_not_made_a_move(
    card: Path, shoot: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    originals = contents(card)
    with monkeypatch.context() as patch:
        full_disk(patch, after=3)
        with pytest.raises(NoRoom):
            ingest(card, shoot)
    with monkeypatch.context() as patch:
        patch.setattr(Shoot, "free_space", lambda _: 0)
        with pytest.raises(NoRoom, match="the disk has room for 0"):
            ingest(card, shoot, moves=True)
    ingest(card, shoot, moves=True)
    hold_whole(shoot, originals)
    assert contents(card) == originals


# ---- manifest and digests ----------------------------------------------------------------------


def test_lists_are_never_written_through_a_link(card: Path, shoot: Path) -> None:
    ingest(card, shoot)
    mine = shoot.parent / "mine.csv"
    mine.write_text("limpet, anemone")
    (shoot / "manifest.csv").unlink()
    (shoot / "manifest.csv").symlink_to(mine)
    ingest(card, shoot)
    hold_whole(shoot, contents(card))
    assert mine.read_text() == "limpet, anemone"


@pytest.mark.parametrize("name", ["manifest.csv", "SHA256SUMS"])
def test_lists_that_are_not_ours_are_never_replaced(card: Path, shoot: Path, name: str) -> None:
    shoot.mkdir(parents=True)
    (shoot / name).write_text("limpet, anemone")
    before = tree(card, shoot)
    with pytest.raises(BadShoot, match=f"holds a {name}"):
        ingest(card, shoot)
    assert tree(card, shoot) == before


def test_a_hidden_folder_that_is_a_link_is_refused(card: Path, shoot: Path) -> None:
    (shoot.parent / "elsewhere").mkdir(parents=True, exist_ok=True)
    shoot.mkdir(parents=True, exist_ok=True)
    (shoot / ".sorter").symlink_to(shoot.parent / "elsewhere")
    with pytest.raises(BadShoot, match="is a link to another place"):
        ingest(card, shoot)
    assert list((shoot.parent / "elsewhere").iterdir()) == []


def test_a_list_that_is_half_written_lies_among_the_unfinished_files(
    card: Path, shoot: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    ingest(card, shoot)
    before = contents(shoot)
    picture(card / ANEMONES / "IMG_0005.JPG", 1200)
    force = door.force_file  # the last call before a list is renamed
    seen: list[set[str]] = []

    def looking(path: str) -> None:
        if path.endswith(("manifest.csv", "SHA256SUMS")):
            seen.append(contents(shoot).keys() - before.keys())
        force(path)

    monkeypatch.setattr(shoots, "force_file", looking)
    ingest(card, shoot)
    assert seen == [{"singles/IMG_0005.JPG"}] * 2


def test_a_shoot_that_lost_its_empty_folders_goes_on(card: Path, shoot: Path) -> None:
    ingest(card, shoot)
    (shoot / ".sorter" / "unfinished").rmdir()
    picture(card / ANEMONES / "IMG_0005.JPG", 1200)
    ingest(card, shoot)
    hold_whole(shoot, contents(card))


def test_a_manifest_that_cannot_be_written_stops_the_run(card: Path, shoot: Path) -> None:
    ingest(card, shoot)
    picture(card / ANEMONES / "IMG_0005.JPG", 1200)
    originals = contents(card)
    with looked_at(card, shoot, moves=True) as carry:
        (shoot / "manifest.csv").unlink()
        (shoot / "manifest.csv").mkdir()
        with pytest.raises(ShootNotWritable, match=r"manifest\.csv is a folder"):
            carry()
    (shoot / "manifest.csv").rmdir()
    ingest(card, shoot, moves=True)
    hold_whole(shoot, originals)


# ---- two runs ----------------------------------------------------------------------------------


def test_a_shoot_that_another_run_made_meanwhile_is_looked_at_again(
    card: Path, shoot: Path
) -> None:
    with looked_at(card, shoot) as carry:
        ingest(card, shoot)
        with pytest.raises(ShootBusy, match=r"another run .* meanwhile. Nothing was done"):
            carry()
    hold_whole(shoot, contents(card))


def test_a_shoot_that_is_held_is_left_alone(card: Path, shoot: Path) -> None:
    ingest(card, shoot)
    with Ledger(shoot / ".sorter", hold=True), pytest.raises(ShootBusy):
        ingest(card, shoot)
    assert (shoot / ".sorter" / FILE).exists()


def test_a_shoot_that_was_deleted_is_made_anew(card: Path, shoot: Path) -> None:
    ingest(card, shoot)
    shutil.rmtree(shoot)
    ingest(limpets(card), shoot)
    hold_whole(shoot, contents(card))
