from __future__ import annotations

import os
import stat
from pathlib import Path

import pytest

from sorter.disk.output import Output, add_file, card_around, check_target, replace_file
from sorter.errors import OutputNotWritable
from sorter.manifest import corrections, tallies
from sorter.model.finding import CHECK_COLUMNS
from sorter.model.row import COLUMNS


def names(folder: Path) -> list[str]:
    return sorted(path.name for path in folder.iterdir())


def test_a_new_file_holds_the_bytes_and_nothing_is_left_beside_it(tmp_path: Path) -> None:
    replace_file(tmp_path / "manifest.csv", b"limpet", Output.MANIFEST)
    assert (tmp_path / "manifest.csv").read_bytes() == b"limpet"
    assert names(tmp_path) == ["manifest.csv"]


def test_a_replaced_file_keeps_its_permissions(tmp_path: Path) -> None:
    file = tmp_path / "manifest.csv"
    file.write_bytes(b"before")
    file.chmod(0o640)
    replace_file(file, b"after", Output.MANIFEST)
    assert file.read_bytes() == b"after"
    assert stat.S_IMODE(file.stat().st_mode) == 0o640


def test_a_link_is_followed_and_stays_a_link(tmp_path: Path) -> None:
    (tmp_path / "there").mkdir()
    link = tmp_path / "manifest.csv"
    link.symlink_to(tmp_path / "there" / "real.csv")
    replace_file(link, b"limpet", Output.MANIFEST)
    assert link.is_symlink()
    assert (tmp_path / "there" / "real.csv").read_bytes() == b"limpet"


@pytest.mark.parametrize("call", ["fsync", "open", "replace"])
def test_a_write_that_fails_leaves_what_was_there(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, call: str
) -> None:
    file = tmp_path / "manifest.csv"
    file.write_bytes(b"before")

    def fail(*_args: object, **_more: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os if call == "fsync" else Path, call, fail)
    with pytest.raises(OutputNotWritable, match="No space left on device"):
        replace_file(file, b"after", Output.MANIFEST)
    monkeypatch.undo()
    assert file.read_bytes() == b"before"
    assert names(tmp_path) == ["manifest.csv"]


def test_ctrl_c_in_the_middle_leaves_what_was_there(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def stop(_handle: int) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr(os, "fsync", stop)
    with pytest.raises(KeyboardInterrupt):
        replace_file(tmp_path / "manifest.csv", b"after", Output.MANIFEST)
    assert names(tmp_path) == []


def test_the_bytes_are_on_the_disk_before_the_name_is(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    calls: list[str] = []
    fsync, replace = os.fsync, Path.replace

    def noted_fsync(handle: int) -> None:
        calls.append("folder" if stat.S_ISDIR(os.fstat(handle).st_mode) else "file")
        fsync(handle)

    def noted_replace(one: Path, other: Path) -> Path:
        calls.append("rename")
        return replace(one, other)

    monkeypatch.setattr(os, "fsync", noted_fsync)
    monkeypatch.setattr(Path, "replace", noted_replace)
    replace_file(tmp_path / "manifest.csv", b"limpet", Output.MANIFEST)
    assert calls == ["file", "rename", "folder"]


def test_a_device_is_never_replaced(tmp_path: Path) -> None:
    pipe = tmp_path / "pipe"
    os.mkfifo(pipe)
    with pytest.raises(OutputNotWritable, match="no plain file"):
        replace_file(pipe, b"limpet", Output.MANIFEST)
    assert stat.S_ISFIFO(pipe.stat().st_mode)


def test_a_file_that_is_added_replaces_nothing(tmp_path: Path) -> None:
    file = tmp_path / "corrections.csv"
    assert add_file(file, b"limpet")
    assert not add_file(file, b"limpet")
    with pytest.raises(OutputNotWritable, match="never replaced"):
        add_file(file, b"barnac")  # as long as what is there
    assert file.read_bytes() == b"limpet"
    assert names(tmp_path) == ["corrections.csv"]


def test_a_file_that_came_meanwhile_is_not_replaced_either(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    file, fsync = tmp_path / "corrections.csv", os.fsync

    def slow(handle: int) -> None:
        file.write_bytes(b"somebody's")
        fsync(handle)

    monkeypatch.setattr(os, "fsync", slow)
    with pytest.raises(OutputNotWritable, match="File exists"):
        add_file(file, b"limpet")
    assert file.read_bytes() == b"somebody's"
    assert names(tmp_path) == ["corrections.csv"]


class TestTarget:
    def test_anywhere_outside_the_card_will_do(self, tmp_path: Path) -> None:
        (tmp_path / "card").mkdir()
        check_target(tmp_path / "card.csv", card=tmp_path / "card")
        assert names(tmp_path) == ["card"]

    @pytest.mark.parametrize(
        "path", ["card/m.csv", "card/DCIM/m.csv", "other/../card/m.csv", "link/m.csv"]
    )
    def test_nothing_in_the_card_will_do(self, tmp_path: Path, path: str) -> None:
        (tmp_path / "card" / "DCIM").mkdir(parents=True)
        (tmp_path / "other").mkdir()
        (tmp_path / "link").symlink_to(tmp_path / "card" / "DCIM")
        with pytest.raises(OutputNotWritable, match="lies in the card"):
            check_target(tmp_path / path, card=tmp_path / "card")

    def test_a_card_named_by_a_link_is_the_same_card(self, tmp_path: Path) -> None:
        (tmp_path / "card").mkdir()
        (tmp_path / "link").symlink_to(tmp_path / "card")
        with pytest.raises(OutputNotWritable, match="lies in the card"):
            check_target(tmp_path / "card" / "m.csv", card=tmp_path / "link")

    def test_a_link_out_of_a_folder_into_the_card_is_seen_through(self, tmp_path: Path) -> None:
        (tmp_path / "card").mkdir()
        (tmp_path / "m.csv").symlink_to(tmp_path / "card" / "m.csv")
        with pytest.raises(OutputNotWritable, match="lies in the card"):
            check_target(tmp_path / "m.csv", card=tmp_path / "card")

    def test_a_folder_a_missing_folder_and_a_device_are_refused(self, tmp_path: Path) -> None:
        card = tmp_path / "card"
        for path, says in (
            (tmp_path, "is a folder"),
            (tmp_path / "none" / "m.csv", "is not there"),
            (Path(os.devnull), "no plain file"),
        ):
            with pytest.raises(OutputNotWritable, match=says):
                check_target(path, card=card)

    def test_a_folder_closed_to_us_is_refused(
        self, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        monkeypatch.setattr(os, "access", lambda *_: False)  # root may write anywhere
        with pytest.raises(OutputNotWritable, match="lets us write nothing"):
            check_target(tmp_path / "m.csv", card=tmp_path / "card")


def test_a_name_that_the_system_cannot_have_is_refused(tmp_path: Path) -> None:
    with pytest.raises(OutputNotWritable, match="File name too long"):
        check_target(tmp_path / ("x" * 300 + ".csv"), card=tmp_path / "card")


@pytest.mark.parametrize("folder", ["DCIM", "DCIM/Camera"])
def test_a_mounted_card_is_whole_where_only_a_folder_of_it_is_named(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, folder: str
) -> None:
    (tmp_path / "DCIM" / "Camera").mkdir(parents=True)
    check_target(tmp_path / "m.csv", card=tmp_path / folder)
    monkeypatch.setattr(Path, "is_mount", lambda path: path == tmp_path)
    with pytest.raises(OutputNotWritable, match="lies in the card"):
        check_target(tmp_path / "m.csv", card=tmp_path / folder)


class TestCard:
    """Folders as CIPA DC-009 has them (3.2): DCIM, and in it three digits and five characters."""

    @pytest.mark.parametrize("folder", ["100TIDES", "999_____", "101a2b3c", ".Trashes"])
    def test_what_cameras_make_tells_a_card(self, tmp_path: Path, folder: str) -> None:
        (tmp_path / "DCIM" / folder).mkdir(parents=True)
        assert card_around(tmp_path) == tmp_path
        assert card_around(tmp_path / "MISC" / "not there yet") == tmp_path
        assert card_around(tmp_path / "DCIM" / folder) == tmp_path
        assert card_around(tmp_path.parent) is None

    @pytest.mark.parametrize("folder", ["Camera", "100TIDE", "100TIDES2", "10ATIDES", "100TID-S"])
    def test_what_they_do_not_make_is_one_only_from_its_dcim_on(
        self, tmp_path: Path, folder: str
    ) -> None:
        (tmp_path / "DCIM" / folder).mkdir(parents=True)
        assert card_around(tmp_path) is None
        assert card_around(tmp_path / "DCIM" / folder) == tmp_path / "DCIM"

    def test_files_of_such_names_tell_nothing(self, tmp_path: Path) -> None:
        (tmp_path / "one").mkdir()
        (tmp_path / "one" / "DCIM").write_text("100TIDES")
        (tmp_path / "two" / "DCIM").mkdir(parents=True)
        (tmp_path / "two" / "DCIM" / "100TIDES").write_text("limpets")
        assert card_around(tmp_path / "one") is None
        assert card_around(tmp_path / "two") is None

    @pytest.mark.parametrize("closed", ["DCIM", "."])
    def test_what_is_closed_to_us_is_taken_for_one(
        self, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, closed: str
    ) -> None:
        """Root is let in everywhere, so that the system's answer is put in its place."""
        (tmp_path / "DCIM" / "100TIDES").mkdir(parents=True)
        shut, scandir, listdir = os.path.normpath(tmp_path / closed), os.scandir, os.listdir

        def unless_shut(path: Path) -> Path:
            if os.path.normpath(path) == shut:
                raise PermissionError(13, "Permission denied", str(path))
            return path

        monkeypatch.setattr(os, "scandir", lambda path: scandir(unless_shut(path)))
        monkeypatch.setattr(os, "listdir", lambda path: listdir(unless_shut(path)))
        assert card_around(tmp_path) == tmp_path


class TestForms:
    """What an output is known by is what the manifests, tables and corrections truly begin with."""

    @pytest.mark.parametrize(
        ("output", "columns"),
        [
            (Output.MANIFEST, COLUMNS),
            (Output.CHECKS, CHECK_COLUMNS),
            (Output.TALLY, tallies.COLUMNS),
            (Output.CORRECTIONS, corrections.COLUMNS),
        ],
    )
    def test_the_first_columns(self, output: Output, columns: tuple[str, ...]) -> None:
        assert ",".join(columns).startswith(output.begins)
        assert output.begins.count(",") >= 2

    def test_no_two_begin_alike(self) -> None:
        begins = [each.begins for each in Output if each.begins]
        assert len(set(begins)) == len(begins) == 4


def test_what_came_while_it_was_written_is_not_replaced_either(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    file, fsync = tmp_path / "manifest.csv", os.fsync

    def slow(handle: int) -> None:
        file.write_bytes(b"\xff\xd8\xff a limpet")
        fsync(handle)

    monkeypatch.setattr(os, "fsync", slow)
    with pytest.raises(OutputNotWritable, match="never replaced"):
        replace_file(file, b"limpet", Output.MANIFEST)
    assert file.read_bytes() == b"\xff\xd8\xff a limpet"
    assert names(tmp_path) == ["manifest.csv"]


def test_a_character_that_is_cut_where_we_stop_reading_is_text_all_the_same(tmp_path: Path) -> None:
    file = tmp_path / "manifest.csv"
    file.write_bytes(b"x" * (64 * 1024 - 1) + "潮".encode())
    replace_file(file, b"limpet", Output.MANIFEST)
    assert file.read_bytes() == b"limpet"


def test_what_cannot_be_read_is_not_replaced(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    file = tmp_path / "manifest.csv"
    file.write_bytes(b"limpet")

    def fail(*_: object, **__: object) -> None:
        raise OSError(5, "Input/output error")

    with monkeypatch.context() as patch:
        patch.setattr(Path, "open", fail)
        with pytest.raises(OutputNotWritable, match="cannot be read \\(Input/output error\\)"):
            replace_file(file, b"after", Output.MANIFEST)
    assert file.read_bytes() == b"limpet"
