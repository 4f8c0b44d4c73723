"""Stacks on a real disk, in folders that are empty, half done, whole, or somebody else's."""

from __future__ import annotations

import errno
import os
from collections.abc import Callable
from pathlib import Path

import pytest

from handoff.pools import changed, content, entry, lay_out, stack
from sorter.disk import stacks as door
from sorter.errors import BadChoice, NoRoom, OutputNotWritable
from sorter.handoff.choose import choose
from sorter.handoff.deliver import Delivery, refuse_lists, refuse_shoots_own
from sorter.model.kinds import Kind
from sorter.model.plan import Entry
from sorter.model.stack import Handed, LeftOut, StackRequest

POOL = [*stack(3, 3), *stack(4, 2, kind=Kind.MANUAL_STACK)]
THIRD, FOURTH = "0003_focus-bracket_3", "0004_manual-stack_2"
NAMES = [f"000{place}_P317000{place}.JPG" for place in (1, 2, 3)]
Tree = dict[str, tuple[int, int, bytes]]


@pytest.fixture
def shoot(tmp_path: Path) -> Path:
    return lay_out(tmp_path / "shoot", POOL)


@pytest.fixture
def out(tmp_path: Path) -> Path:
    return tmp_path / "out"


@pytest.fixture
def no_links(monkeypatch: pytest.MonkeyPatch) -> None:
    def fail(*_: object, **_more: object) -> None:
        raise OSError(errno.EXDEV, "Invalid cross-device link")

    monkeypatch.setattr(os, "link", fail)


def deliver(
    shoot: Path,
    *,
    lists: Path | None = None,
    folders: Path | None = None,
    entries: list[Entry] = POOL,
    progress: Callable[[int, int], None] = lambda *_: None,
) -> tuple[Handed | LeftOut, ...]:
    delivery = Delivery(shoot=shoot, lists=lists, folders=folders, progress=progress)
    return delivery.hand_over(choose(entries, StackRequest()).stacks)


def names(folder: Path) -> list[str]:
    return sorted(path.name for path in folder.iterdir())


def tree(folder: Path) -> Tree:
    """All that a write would change: inodes, times and contents."""
    return {
        str(path): (
            path.lstat().st_ino,
            path.lstat().st_mtime_ns,
            path.read_bytes() if path.is_file() else b"",
        )
        for path in folder.rglob("*")
    }


def is_of(handle: int, name: str) -> bool:
    """Whether the open file is a copy of the slice of this name."""
    path = Path(f"/proc/self/fd/{handle}")
    return path.is_file() and path.read_bytes() == content(name)


def left_out(outcome: Handed | LeftOut) -> str:
    assert isinstance(outcome, LeftOut)
    return outcome.reason


def handed(outcome: Handed | LeftOut) -> tuple[int, int, bool]:
    assert isinstance(outcome, Handed)
    return outcome.linked, outcome.copied, outcome.there_already


class TestLists:
    def test_a_list_names_every_slice_and_is_all_there_is(self, shoot: Path, out: Path) -> None:
        deliver(shoot, lists=out / "new" / "lists")
        assert names(out / "new" / "lists") == [f"{THIRD}.txt", f"{FOURTH}.txt"]
        data = (out / "new" / "lists" / f"{THIRD}.txt").read_bytes()
        assert data.endswith(b"\n")
        paths = data.decode().split("\n")[:-1]
        assert [Path(path).read_bytes() for path in paths] == [
            content(f"P317000{place}.JPG") for place in (1, 2, 3)
        ]

    def test_a_list_that_is_there_is_replaced(self, shoot: Path, out: Path) -> None:
        out.mkdir()
        (out / f"{THIRD}.txt").write_text("old")
        deliver(shoot, lists=out)
        first = (out / f"{THIRD}.txt").read_bytes()
        deliver(shoot, lists=out)
        assert (out / f"{THIRD}.txt").read_bytes() == first != b"old"

    def test_a_name_that_no_line_can_say_keeps_its_stack_back(self, tmp_path: Path) -> None:
        entries = [*stack(4, 2), entry(f"{THIRD}/a\nb.JPG"), entry(f"{THIRD}/c.JPG", position=2)]
        shoot = lay_out(tmp_path / "odd", entries)
        third, fourth = deliver(shoot, lists=tmp_path / "lists", entries=entries)
        assert "line break in its name" in left_out(third)
        assert handed(fourth) == (0, 0, False)
        third, _ = deliver(shoot, folders=tmp_path / "folders", entries=entries)
        assert handed(third) == (2, 0, False)


class TestFolders:
    def test_a_folder_holds_its_slices_and_nothing_else(self, shoot: Path, out: Path) -> None:
        third, fourth = deliver(shoot, folders=out)
        assert (handed(third), handed(fourth)) == ((3, 0, False), (2, 0, False))
        assert names(out) == [THIRD, FOURTH]
        assert names(out / THIRD) == NAMES
        assert all((out / THIRD / name).samefile(shoot / THIRD / name[5:]) for name in NAMES)

    @pytest.mark.usefixtures("no_links")
    def test_copies_where_there_are_no_links(self, shoot: Path, out: Path) -> None:
        third, _ = deliver(shoot, folders=out)
        assert handed(third) == (0, 3, False)
        assert names(out / THIRD) == NAMES
        assert [(out / THIRD / name).read_bytes() for name in NAMES] == [
            content(name[5:]) for name in NAMES
        ]

    @pytest.mark.usefixtures("no_links")
    def test_a_spoiled_copy_takes_its_whole_stack_back_and_no_other(
        self, shoot: Path, out: Path, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        fsync = os.fsync

        def spoil(handle: int) -> None:
            fsync(handle)
            if is_of(handle, "P3170002.JPG"):
                os.pwrite(handle, b"\xff", 5)

        monkeypatch.setattr(os, "fsync", spoil)
        third, fourth = deliver(shoot, folders=out, lists=out)
        assert "P3170002.JPG came out different" in left_out(third)
        assert handed(fourth) == (0, 2, False)
        assert names(out) == [FOURTH, f"{FOURTH}.txt"]

    @pytest.mark.usefixtures("no_links")
    def test_a_slice_whose_bytes_changed_keeps_its_stack_back(self, shoot: Path, out: Path) -> None:
        path = shoot / THIRD / "P3170003.JPG"
        path.write_bytes(path.read_bytes().swapcase())
        third, _ = deliver(shoot, folders=out)
        assert "P3170003.JPG no longer holds the bytes that were ingested" in left_out(third)
        assert names(out) == [FOURTH]

    @pytest.mark.parametrize("links", [True, False])
    def test_a_second_run_touches_nothing(
        self, shoot: Path, out: Path, monkeypatch: pytest.MonkeyPatch, *, links: bool
    ) -> None:
        with monkeypatch.context() as patch:
            if not links:
                patch.delattr(os, "link")
                patch.setattr(door, "_is_linked", lambda *_: False)
            deliver(shoot, folders=out)
        before = tree(out)
        assert [handed(each) for each in deliver(shoot, folders=out)] == [(0, 0, True)] * 2
        assert tree(out) == before

    @pytest.mark.parametrize("kept", [[], [0], [0, 2], [1, 2]])
    def test_what_a_stopped_run_left_is_completed(
        self, shoot: Path, out: Path, kept: list[int]
    ) -> None:
        (out / THIRD).mkdir(parents=True)
        for place in kept:
            os.link(shoot / THIRD / NAMES[place][5:], out / THIRD / NAMES[place])
        (out / THIRD / ".sorter-0123456789ab.unfinished").write_bytes(b"half")
        third, _ = deliver(shoot, folders=out)
        assert handed(third) == (3 - len(kept), 0, False)
        assert names(out / THIRD) == NAMES

    def test_leftovers_go_from_a_folder_that_is_whole_too(self, shoot: Path, out: Path) -> None:
        deliver(shoot, folders=out)
        (out / THIRD / ".sorter-0123456789ab.unfinished").write_bytes(b"half")
        third, _ = deliver(shoot, folders=out)
        assert handed(third) == (0, 0, True)
        assert names(out / THIRD) == NAMES

    @pytest.mark.parametrize("stranger", ["crab.txt", ".hidden", "0004_P3170004.JPG", NAMES[1]])
    def test_a_folder_that_holds_anything_else_is_never_touched(
        self, shoot: Path, out: Path, stranger: str
    ) -> None:
        (out / THIRD).mkdir(parents=True)
        (out / THIRD / stranger).write_bytes(b"mine")
        (out / THIRD / ".sorter-0123456789ab.unfinished").write_bytes(b"half")
        before = tree(out / THIRD)
        third, fourth = deliver(shoot, folders=out, lists=out / "lists")
        assert f"holds {stranger}, which is no slice" in left_out(third)
        assert "move that folder away, or name another DIR" in left_out(third)
        assert handed(fourth) == (2, 0, False)
        assert tree(out / THIRD) == before
        assert names(out / "lists") == [f"{FOURTH}.txt"]

    def test_a_slice_of_the_same_size_and_other_bytes_is_somebody_elses(
        self, shoot: Path, out: Path
    ) -> None:
        deliver(shoot, folders=out)
        path = out / THIRD / NAMES[0]
        other = path.read_bytes().swapcase()
        path.unlink()
        path.write_bytes(other)
        third, _ = deliver(shoot, folders=out)
        assert f"holds {NAMES[0]}" in left_out(third)
        assert path.read_bytes() == other

    def test_a_folder_within_is_somebody_elses(self, shoot: Path, out: Path) -> None:
        (out / THIRD / NAMES[0]).mkdir(parents=True)
        assert f"holds {NAMES[0]}" in left_out(deliver(shoot, folders=out)[0])

    def test_a_file_or_a_link_in_the_folders_place_is_left_alone(
        self, shoot: Path, out: Path
    ) -> None:
        (out / "elsewhere").mkdir(parents=True)
        (out / THIRD).symlink_to(out / "elsewhere")
        (out / FOURTH).write_bytes(b"mine")
        for outcome in deliver(shoot, folders=out):
            assert "is no folder" in left_out(outcome)
        assert names(out / "elsewhere") == []
        assert (out / FOURTH).read_bytes() == b"mine"

    @pytest.mark.usefixtures("no_links")
    def test_a_part_of_a_stopped_run_is_told_of_where_it_cannot_be_completed(
        self, shoot: Path, out: Path
    ) -> None:
        (out / THIRD).mkdir(parents=True)
        (out / THIRD / NAMES[0]).write_bytes(content(NAMES[0][5:]))
        path = shoot / THIRD / "P3170003.JPG"
        path.write_bytes(path.read_bytes().swapcase())
        third, _ = deliver(shoot, folders=out)
        assert "still holds the part" in left_out(third)
        assert names(out / THIRD) == NAMES[:1]

    @pytest.mark.usefixtures("no_links")
    def test_a_full_disk_stops_and_the_next_run_goes_on(
        self, shoot: Path, out: Path, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        fsync = os.fsync

        def full(handle: int) -> None:
            if is_of(handle, "P3170003.JPG"):
                raise OSError(errno.ENOSPC, "No space left on device")
            fsync(handle)

        monkeypatch.setattr(os, "fsync", full)
        with pytest.raises(NoRoom, match="run it again: it goes on where it stopped") as stopped:
            deliver(shoot, folders=out)
        assert stopped.value.exit_code == 3
        assert names(out / THIRD) == NAMES[:2]
        monkeypatch.setattr(os, "fsync", fsync)
        assert handed(deliver(shoot, folders=out)[0]) == (0, 1, False)
        assert names(out / THIRD) == NAMES


class TestWhatIsMissing:
    @pytest.mark.parametrize("fault", ["gone", "longer", "link", "folder"])
    def test_a_stack_with_a_bad_file_is_left_out_and_the_others_go(
        self, shoot: Path, out: Path, fault: str
    ) -> None:
        path = shoot / THIRD / "P3170002.JPG"
        data = path.read_bytes()
        path.unlink()
        if fault == "longer":
            path.write_bytes(data + b"x")
        elif fault == "link":
            path.symlink_to(shoot / THIRD / "P3170001.JPG")
        elif fault == "folder":
            path.mkdir()
        third, fourth = deliver(shoot, folders=out, lists=out)
        assert left_out(third).startswith(f"{THIRD}/P3170002.JPG ")
        assert handed(fourth) == (2, 0, False)
        assert names(out) == [FOURTH, f"{FOURTH}.txt"]

    def test_nothing_is_made_where_there_is_nothing_to_hand_over(
        self, shoot: Path, out: Path
    ) -> None:
        assert deliver(shoot, folders=out, lists=out, entries=[]) == ()
        assert not out.exists()

    def test_the_shoot_is_never_changed(self, shoot: Path, out: Path) -> None:
        before = tree(shoot)
        deliver(shoot, folders=out, lists=out)
        assert tree(shoot) == before


def test_what_is_done_is_told_up_to_the_last_slice(shoot: Path, out: Path) -> None:
    (shoot / THIRD / "P3170002.JPG").unlink()
    told: list[tuple[int, int]] = []
    deliver(shoot, folders=out, progress=lambda done, total: told.append((done, total)))
    assert told[0] == (3, 5)
    assert told[-1] == (5, 5)
    assert told == sorted(told)


class TestPlaces:
    @pytest.mark.parametrize(
        "below", ["", ".sorter", ".sorter/x", THIRD, f"{THIRD}/lists", "link", f"x/../{THIRD}"]
    )
    def test_where_the_shoot_keeps_its_files_nothing_is_written(
        self, shoot: Path, below: str
    ) -> None:
        (shoot / "link").symlink_to(shoot / THIRD)
        with pytest.raises(BadChoice, match="where the shoot keeps its own files"):
            refuse_shoots_own(shoot, shoot / below, POOL)

    def test_other_folders_in_the_shoot_and_around_it_will_do(self, shoot: Path) -> None:
        for place in (shoot / "stacks", shoot / "a" / THIRD, shoot.parent, shoot.parent / "out"):
            refuse_shoots_own(shoot, place, POOL)

    def test_a_file_that_lies_in_the_shoot_itself_forbids_no_other_folder(
        self, shoot: Path
    ) -> None:
        odd = changed(POOL[0], destination="P3170001.JPG")
        refuse_shoots_own(shoot, shoot / "stacks", [odd])

    def test_lists_cannot_lie_in_the_folder_of_a_stack(self, shoot: Path, out: Path) -> None:
        stacks = choose(POOL, StackRequest()).stacks
        refuse_lists(shoot, out, out, stacks)
        refuse_lists(shoot, out / THIRD, None, stacks)
        with pytest.raises(BadChoice, match="to hold a stack and nothing else"):
            refuse_lists(shoot, out / THIRD / "x", out, stacks)

    def test_a_place_that_takes_nothing_is_found_before_anything_is_written(
        self, shoot: Path, out: Path
    ) -> None:
        out.mkdir()
        (out / "file").touch()
        with pytest.raises(OutputNotWritable):
            deliver(shoot, folders=out / "file", lists=out / "lists")
        assert names(out) == ["file", "lists"]
        assert names(out / "lists") == []
