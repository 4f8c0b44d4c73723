"""What the user asked to have written beside a shoot, such as a manifest: whole, or not at all.

Nothing is written into a card, nor into what a shoot keeps of itself, and nothing is replaced that may
be somebody's work.
"""

from __future__ import annotations

import codecs
import contextlib
import os
import re
import secrets
import stat
import struct
from collections.abc import Callable, Iterable, Iterator
from enum import Enum
from pathlib import Path
from typing import Final

from sorter.disk.files import force_folder, rename_new
from sorter.disk.systems import SYSTEM
from sorter.errors import BadShoot, OutputNotWritable

PLOTTER: Final = "sorter steps"
"""What a plot of ours names as its software: by that it is known again."""

_LOOKED_AT: Final = 64 * 1024
"""Bytes of a file by which it is judged whether it may be replaced."""
_HIDDEN: Final = ".sorter"
_IN_HIDDEN: Final = f"lies in {_HIDDEN}, where a shoot keeps its ledger. Name another place."
_LEDGER: Final = f"{_HIDDEN}/ledger.db"
_SHOOTS_OWN: Final = frozenset({"manifest.csv", "sha256sums", "checks.csv"})
_DCIM: Final = "dcim"
_DCF_FOLDER: Final = re.compile(r"[0-9]{3}[0-9A-Za-z_]{5}")  # CIPA DC-009, 3.2.2
_PNG: Final = b"\x89PNG\r\n\x1a\n"  # PNG 1.2, 3.1


class Output(Enum):
    """What an option writes. The value of a text: how its names end, and what its first line begins with.

    Text of such a name gives way to it, and so does whatever begins as it does. A plot gives way to a
    plot; corrections to nothing, for they are what the user says.
    """

    MANIFEST = (".csv", "source,destination,frame")
    CHECKS = (".csv", "sequence,kind,frames")
    TALLY = (".csv", "shoot,table,key")
    CORRECTIONS = ("", "first,last,kind,name")
    LIST = (".txt", "")
    PLOT = (".png", "")

    @property
    def ends(self) -> str:
        """How names of such files end."""
        return self.value[0]

    @property
    def begins(self) -> str:
        """What the first line of such a text begins with; empty where that is not what tells it."""
        return self.value[1]


# ---- where nothing is written -------------------------------------------------------------------


def check_target(
    path: Path,
    *,
    output: Output = Output.CORRECTIONS,
    card: Path | None = None,
    shoots: Iterable[Path] = (),
    cards: Iterable[Path] = (),
) -> None:
    """Returns where a file may be written to this path; nothing is written to find out.

    card: the one that this run reads. shoots: what it is about; the file may not lie in one of them.
    cards: folders that shoots came from. Raises OutputNotWritable where the path lies in a card (links
    followed, folders compared by what they are, not by their spelling), where it is of what a shoot
    keeps of itself, where something is there that is not to be replaced, where it is a folder or
    anything else but a plain file, or where its folder is missing or closed to us. A disk that is full
    shows only on writing.
    """
    target = real_path(path)
    folder = target if os.path.isdir(target) else target.parent
    refuse_in_card(path, folder, card=card, cards=cards, file=True)
    inside = next((each for each in shoots if is_within(target, real_path(each))), None)
    if inside is not None:
        raise OutputNotWritable(
            f"{path} lies in the shoot {inside}, which holds nothing but its own files. "
            "Name a file elsewhere."
        )
    _refuse_shoots_own(path, target)
    _refuse_odd_name(path, target)
    _refuse_no_plain_file(path, target)
    check_replaces(path, output)
    if not target.parent.is_dir():
        raise OutputNotWritable(
            f"{path}: the folder {target.parent} is not there. Make it first, or name another."
        )
    if not os.access(target.parent, os.W_OK | os.X_OK):
        raise OutputNotWritable(
            f"{path}: the system lets us write nothing in {target.parent}. "
            "Check its permissions, or name another folder."
        )


def check_folder(path: Path, *, cards: Iterable[Path] = ()) -> None:
    """Returns where a folder of this path may hold what is written: it lies in no card.

    Nor in what is hidden in a shoot. cards: folders that the shoot came from. Raises OutputNotWritable.
    """
    refuse_in_card(path, real_path(path), cards=cards, file=False)
    _refuse_hidden(path, real_path(path))


def refuse_in_card(
    path: Path, folder: Path, *, card: Path | None = None, cards: Iterable[Path] = (), file: bool
) -> None:
    """Raises OutputNotWritable where the folder, its links followed, lies in any card.

    path: as the user named what is to be written. card: the one that this run reads.
    """
    known = map(_whole_card, (*([card] if card else ()), *cards))
    around = next((each for each in known if is_within(folder, each)), None) or card_around(folder)
    if around is not None:
        raise OutputNotWritable(_in_card(path, around, "file" if file else "folder"))


def check_beside(shoot: Path, *, card: Path) -> None:
    """Returns where neither of the two folders lies in the other, links followed, nor in any card.

    A shoot beside the DCIM folder that was named as the card lies in the card too. Nor does it lie in what
    another shoot keeps of itself. Raises BadShoot.
    """
    one, two = real_path(shoot), real_path(card)
    if _is_hidden(one):
        raise BadShoot(f"{shoot} {_IN_HIDDEN}")
    whole = _whole_card(card)
    around = whole if is_within(one, whole) or _is_mounted_from(one, whole) else card_around(one)
    if around is not None:
        raise BadShoot(_in_card(shoot, around, "folder"))
    if is_within(two, one) or _is_mounted_from(two, one):
        raise BadShoot(
            f"the card {card} lies in {shoot}, and a shoot holds nothing but its own files. "
            "Name another folder for the shoot."
        )


def _in_card(path: Path, card: Path, what: str) -> str:
    why = ", which holds a DCIM folder" if _holds_dcim(card) else ""
    return (
        f"{path} lies in the card {card}{why}, and nothing is ever written there. "
        f"Name a {what} elsewhere."
    )


def card_around(folder: Path) -> Path | None:
    """The card that the folder is, or lies in, by the names of its folders; None where it is in none.

    folder: its links followed; it may not be there yet. A card's root holds a folder DCIM, in letters of
    any case, which is empty or has a folder as cameras name them: three digits and five characters
    (CIPA DC-009). What lies below any DCIM lies in a card too.
    """
    for each in (folder, *folder.parents):
        if each.name.lower() == _DCIM:
            return each.parent if _holds_dcim(each.parent) else each
        if _holds_dcim(each):
            return each
    return None


def _holds_dcim(folder: Path) -> bool:
    """Whether the folder is a card's root. One of which the DCIM is closed to us is taken for one."""
    return any(_is_of_camera(path) for path in _dcims(folder))


def _dcims(folder: Path) -> Iterator[str]:
    """The paths of the folders in it that are called DCIM; a link is none."""
    try:
        with os.scandir(folder) as entries:
            found = [entry.path for entry in entries if entry.name.lower() == _DCIM]
    except OSError:  # one that lists nothing may still have it
        found = [os.path.join(folder, name) for name in ("DCIM", "dcim")]
    yield from (path for path in found if os.path.isdir(path) and not os.path.islink(path))


def _is_of_camera(dcim: str) -> bool:
    try:
        names = [name for name in os.listdir(dcim) if not name.startswith(".")]  # system files
    except OSError:
        return True
    folders = (name for name in names if os.path.isdir(os.path.join(dcim, name)))
    return not names or any(_DCF_FOLDER.fullmatch(name) for name in folders)


def _refuse_shoots_own(path: Path, target: Path) -> None:
    """The lists of a shoot and all that is hidden in it are written by the commands that keep them."""
    _refuse_hidden(path, target)
    if target.name.lower() in _SHOOTS_OWN and holds_ledger(target.parent):
        raise OutputNotWritable(
            f"{path} is a list that the shoot {target.parent} keeps of itself. Name another file."
        )


def _refuse_hidden(path: Path, target: Path) -> None:
    if _is_hidden(target):
        raise OutputNotWritable(f"{path} {_IN_HIDDEN}")


def _is_hidden(target: Path) -> bool:
    return any(part.lower() == _HIDDEN for part in target.parts)


def holds_ledger(folder: Path) -> bool:
    """Whether the folder is a shoot: a ledger lies in it."""
    return os.path.isfile(os.path.join(folder, _LEDGER))


# ---- what is replaced ---------------------------------------------------------------------------


def check_replaces(path: Path, output: Output) -> None:
    """Returns where nothing is there, or what may give way to such an output; links followed.

    That is an empty file; what was made by us and is of the same kind; of texts also any text whose
    name ends so, unless it is of another kind that is known: a sidecar or a page, corrections, another
    table. In a shoot only lists give way, to lists. Corrections are looked at on writing. Raises
    OutputNotWritable.
    """
    target = real_path(path)
    if output is Output.CORRECTIONS or not os.path.isfile(
        target
    ):  # which raises for no name at all
        return
    try:
        with target.open("rb") as file:
            head = file.read(_LOOKED_AT)
    except OSError as error:
        raise OutputNotWritable(
            f"{path} is there already and cannot be read ({error.strerror}): it is never replaced. "
            "Name another file."
        ) from error
    if not _gives_way(head, target, output):
        raise OutputNotWritable(
            f"{path} is there already, and may be your own work: {_WANTED[output]}, and what is "
            "anything else is never replaced. Name another file."
        )


_WANTED: Final = {
    Output.MANIFEST: "a manifest takes the place of a manifest or of plain text",
    Output.CHECKS: "a table of checks takes the place of such a table or of plain text",
    Output.TALLY: "a tally takes the place of a tally or of plain text",
    Output.LIST: "a list takes the place of a list or of plain text",
    Output.PLOT: f"a plot takes the place of a plot that `{PLOTTER}` drew",
}


def _gives_way(head: bytes, target: Path, output: Output) -> bool:
    if _is_in_shoot(target):
        return output is Output.LIST and _is_list(_text(head))
    if not head:
        return True
    if output is Output.PLOT:
        return PLOTTER.encode() in _softwares(head)
    text = _text(head)
    if text is None:
        return False
    known = _known(text)
    return known is output or (known is None and target.suffix.lower() == output.ends)


def is_foreign(path: Path, output: Output) -> bool:
    """Whether something is there that such an output did not write; an empty file is nobody's."""
    if not os.path.lexists(path):
        return False
    if not os.path.isfile(path):  # a pipe would have us wait
        return True
    try:
        with open(path, "rb") as file:
            text = _text(file.read(_LOOKED_AT))
    except OSError:
        return True
    return text is None or (text != "" and _known(text) is not output)


def _is_in_shoot(target: Path) -> bool:
    return any(holds_ledger(folder) for folder in target.parents)


def _text(head: bytes) -> str | None:
    """The beginning of a text in UTF-8, without its mark; None where it is no text."""
    if b"\0" in head:
        return None
    try:  # the last character may be cut
        return codecs.getincrementaldecoder("utf-8-sig")().decode(head)
    except UnicodeDecodeError:
        return None


def _known(text: str) -> Output | str | None:
    """Which output the text is, or what else it is known to be; None where it may be any text."""
    if text.lstrip().startswith("<"):
        return "markup"  # a sidecar, or a page
    if _is_list(text):
        return Output.LIST
    first = text.split("\n", 1)[0].replace('"', "").replace(";", ",").strip()
    if set(first.replace(" ", "").split(",")) == set(Output.CORRECTIONS.begins.split(",")):
        return Output.CORRECTIONS  # whose columns may stand in any order
    return next((each for each in Output if each.begins and first.startswith(each.begins)), None)


def _is_list(text: str | None) -> bool:
    """Whether every line is an absolute path; the last one may be cut."""
    return bool(text) and all(map(os.path.isabs, (text or "").splitlines()))


def _softwares(head: bytes) -> Iterator[bytes]:
    """What a PNG names as its software, as far as its beginning tells (PNG 1.2, 3.2 and 4.2.3)."""
    at = len(_PNG) if head.startswith(_PNG) else len(head)
    while at + 8 <= len(head):
        length, kind = struct.unpack_from(">I4s", head, at)
        key, _, stated = head[at + 8 : at + 8 + length].partition(b"\0")
        if kind == b"tEXt" and key == b"Software":
            yield stated
        at += 12 + length


# ---- writing ------------------------------------------------------------------------------------


def replace_file(path: Path, data: bytes, output: Output) -> None:
    """The file holds exactly these bytes, or what it held before; never a part of them.

    Written beside it, forced to the disk, renamed over it, and the folder forced too. A link is
    followed. What a drive's own cache does when the power fails, we cannot know; a system that
    kills us in the middle may leave the unfinished file, whose name begins with `.sorter-`.
    Raises OutputNotWritable with the system's reason, or where what is there is not to be replaced
    by such an output.
    """

    def place(unfinished: Path, target: Path) -> None:
        check_replaces(path, output)  # it may have come meanwhile
        unfinished.replace(target)

    check_replaces(path, output)
    _write_beside(path, data, place)


def add_file(path: Path, data: bytes) -> bool:
    """The file holds exactly these bytes; one that holds others is never replaced.

    Returns whether it was written now: False where it held them already. Written as replace_file
    does it. Raises OutputNotWritable.
    """
    target = real_path(path)
    _refuse_no_plain_file(path, target)
    if not target.exists():
        _write_beside(path, data, lambda one, two: rename_new(str(one), str(two)))
        return True
    if _holds(target, data):
        return False
    raise OutputNotWritable(
        f"{path} is there already and holds something else, which may be your own work: it is "
        "never replaced. Nothing was written; name another file."
    )


def _holds(target: Path, data: bytes) -> bool:
    try:
        return target.stat().st_size == len(data) and target.read_bytes() == data
    except OSError:  # what cannot be read is not ours to replace either
        return False


def _write_beside(path: Path, data: bytes, place: Callable[[Path, Path], object]) -> None:
    """The bytes stand under another name, on the disk; then they are placed under their own."""
    target = real_path(path)
    _refuse_no_plain_file(path, target)
    unfinished = target.with_name(f".sorter-{secrets.token_hex(6)}.unfinished")
    try:
        _write_through(unfinished, data, _mode(target))
        place(unfinished, target)
        force_folder(target.parent)
    except OSError as error:
        raise OutputNotWritable(
            f"{path} cannot be written: {error.strerror}. What was there before is unchanged; "
            "name a file in another place, or make room."
        ) from error
    finally:
        with contextlib.suppress(OSError):
            unfinished.unlink(missing_ok=True)


# ---- paths --------------------------------------------------------------------------------------


def real_path(path: Path) -> Path:
    """The path with every link followed, also where the file itself is not there yet."""
    return Path(os.path.realpath(path))


def _whole_card(folder: Path) -> Path:
    """The mounted card around a DCIM folder that was named, or around a folder in it; else itself."""
    real = real_path(folder)
    for each in (real, *real.parents):
        if each.name.lower() == _DCIM and each.parent.is_mount():
            return each.parent
    return folder


def is_within(target: Path, folder: Path) -> bool:
    """Whether the target is the folder or lies in it. Folders are compared by what they are.

    target: with its links followed.
    """
    return any(is_same(parent, folder) for parent in (target, *target.parents))


def _is_mounted_from(target: Path, folder: Path) -> bool:
    """Whether the target, or the nearest folder above it that is there, is one in the folder by another mount."""
    there = next((each for each in (target, *target.parents) if each.is_dir()), None)
    if there is None or not folder.is_dir():
        return False
    one, two = SYSTEM.origin(str(there)), SYSTEM.origin(str(folder))
    if one is None or two is None or one[0] != two[0]:
        return False
    return Path(two[1]) in (Path(one[1]), *Path(one[1]).parents)


def is_apart(folder: Path, other: Path) -> bool:
    """Whether the folder is there, and the other one does not lie in it."""
    return os.path.isdir(folder) and not is_within(real_path(other), folder)


def is_same(one: Path, two: Path) -> bool:
    """Whether both are one file or folder; by their paths where one of them is not there."""
    try:
        return one.samefile(two)
    except OSError:  # one of them is not there
        return one == real_path(two)


def _refuse_odd_name(path: Path, target: Path) -> None:
    """The system says of a name that it cannot have only when it is asked for it."""
    try:
        target.lstat()
    except (FileNotFoundError, NotADirectoryError):
        pass
    except OSError as error:
        raise OutputNotWritable(
            f"{path} cannot be written: {error.strerror}. Name another file."
        ) from error


def _refuse_no_plain_file(path: Path, target: Path) -> None:
    """Renaming over a device or a pipe would take it out of the system."""
    if target.is_dir():
        raise OutputNotWritable(f"{path} is a folder. Name a file.")
    if target.exists() and not target.is_file():
        raise OutputNotWritable(f"{path} is no plain file (a device or a pipe). Name a file.")


def _mode(target: Path) -> int | None:
    """The permissions to keep; None where there is no file yet."""
    try:
        return stat.S_IMODE(target.stat().st_mode)
    except OSError:
        return None


def _write_through(path: Path, data: bytes, mode: int | None) -> None:
    with path.open("xb") as file:
        if mode is not None:
            with contextlib.suppress(OSError):  # a FAT disk or a share knows no permissions
                path.chmod(mode)
        file.write(data)
        file.flush()
        os.fsync(file.fileno())
