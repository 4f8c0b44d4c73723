"""A whole card read: every file of the listing once, then joined to frames."""

from __future__ import annotations

import os
import struct
import zlib
from collections.abc import Callable, Sequence
from contextlib import closing
from dataclasses import replace
from typing import Final

from sorter.disk.ahead import Opened, opened
from sorter.disk.card import FINGERPRINTED, Card, Window
from sorter.model.card import CardFile, Listing
from sorter.model.damage import Damage
from sorter.model.frame import ReadFile, Reading
from sorter.model.kinds import PICTURE_ROLES, Role
from sorter.reading import copies, fallback, names, recovered, sane, subseconds
from sorter.reading.builder import FactsBuilder
from sorter.reading.containers import block, jpeg
from sorter.reading.containers.recognise import Container, Reader, recognise
from sorter.reading.frames import join
from sorter.reading.source import Source

NO_PICTURE: Final = "no picture by its content, although its name says so"
UNSTEADY: Final = "cannot be read: it gives other bytes each time"
NOTHING: Final = "nothing in it can be read"
NO_TIME: Final = "no capture time"
NO_READER: Final = "the format is known, but not how to read its metadata"
NOT_UNDERSTOOD: Final = "its metadata cannot be understood"
BUDGET_SPENT: Final = "its metadata lie too far apart to be read"
ALLOWANCE_SPENT: Final = "it has more metadata than are read of one file: the rest is left out"
_SIZE_UNREAD: Final = frozenset({"png", "webp", "jxl", "jp2", "gif", "mrw"})
"""Containers whose picture size nobody here looks for."""
_ASKED_AGAIN: Final = frozenset({"png", "webp", "jxl", "jp2", "heif"})
"""Containers in which Exif may stand in more places than we look into."""


def read_card(
    card: Card, listing: Listing, progress: Callable[[int], None] | None = None
) -> Reading:
    """The frames of a card, its files that are no frame, and the pictures that are not the card's.

    progress is called with the number of files done, of all that `files_to_read` counts. Raises CardGone
    where the card went away.
    """
    read = subseconds.settled(_compared_at_end(card, read_files(card, listing.files, progress)))
    frames, loose = join([file for file in read if not file.file.recovered])
    kept = recovered.kept(file for file in read if file.file.recovered)
    loose = tuple(sorted((*loose, *kept), key=lambda one: one[1].path))
    others = (*listing.thrown, *listing.aside)
    left = recovered.left(_twice(card, read_files(card, others, _after(len(read), progress))))
    taken = len(loose) + sum(len(frame.files) for frame in frames)
    return Reading(
        frames=copies.once(card, frames),
        loose=loose,
        system_files=listing.system_files + files_to_read(listing) - taken - len(left),
        folders_closed=listing.folders_closed,
        thrown_away=left,
        shoots=listing.shoots,
    )


def files_to_read(listing: Listing) -> int:
    """How many files are looked into: those of systems too, as they may be pictures."""
    return len(listing.files) + len(listing.thrown) + len(listing.aside)


def files_of(card: Card, listing: Listing) -> tuple[CardFile, ...]:
    """The files of the card that are to be in a copy: of a repair's folders what may be a picture.

    Raises CardGone where the card went away.
    """
    found = [file for file in listing.files if file.recovered]
    kept = {file.path for _, file in recovered.kept(_twice(card, read_files(card, found)))}
    return tuple(file for file in listing.files if not file.recovered or file.path in kept)


def thrown_away(card: Card, listing: Listing) -> tuple[str, ...]:
    """The paths of pictures and clips in a trash or another folder of a system. Raises CardGone."""
    return recovered.left(_twice(card, read_files(card, (*listing.thrown, *listing.aside))))


def _compared_at_end(card: Card, files: Sequence[ReadFile]) -> list[ReadFile]:
    """The files, those in folders of a repair as `_twice` has them."""
    return [_twice(card, [file])[0] if file.file.recovered else file for file in files]


def _twice(card: Card, files: Sequence[ReadFile]) -> list[ReadFile]:
    """Files whose name says nothing: what nothing is known of by its first bytes is looked at again.

    Past the system's cache: a reader that gave one wrong bit would hide a picture for good. What gives
    other bytes then may be one, and is called unreadable. Raises CardGone.
    """
    return [
        replace(file, file=replace(file.file, obstacle=UNSTEADY), notes=(UNSTEADY,))
        if not file.container and not file.is_picture and _is_other(card, file)
        else file
        for file in files
    ]


def _is_other(card: Card, file: ReadFile) -> bool:
    if not file.fingerprint:
        return False
    try:
        with card.stream(file.path, past=True) as stream:
            block = next(stream.blocks(), memoryview(b""))
            return zlib.crc32(block[:FINGERPRINTED]) != file.fingerprint
    except OSError:
        return True


def _after(done: int, progress: Callable[[int], None] | None) -> Callable[[int], None] | None:
    return None if progress is None else lambda more: progress(done + more)


def read_files(
    card: Card, files: Sequence[CardFile], progress: Callable[[int], None] | None = None
) -> list[ReadFile]:
    """Each file read, in their order; what stands in the way becomes a note.

    progress is called with the number of files done. Raises CardGone where the card went away.
    """
    read: list[ReadFile] = []
    paths = [file.path for file in files if _is_opened(file)]
    with closing(opened(card, paths, _prepare)) as windows:
        for done, file in enumerate(files, start=1):
            read.append(_read(card, file, next(windows)) if _is_opened(file) else _unopened(file))
            if progress is not None:
                progress(done)
    return read


def _prepare(window: Window) -> None:
    """Reads what will be asked for and lies far from the head: where a JPEG ends."""
    if window.head.startswith(jpeg.START):
        window.read(window.size - jpeg.TAIL, jpeg.TAIL)


def _is_opened(file: CardFile) -> bool:
    return not file.obstacle and file.size > 0


def _read(card: Card, file: CardFile, window: Opened) -> ReadFile:
    """What the open file says, or why it could not be opened."""
    if isinstance(window, OSError):
        reason = os.strerror(window.errno) if window.errno else str(window)
        return _unopened(replace(file, obstacle=f"cannot be read: {reason}"))
    if isinstance(window, Exception):
        raise window
    with window:
        builder = read_source(window, file)
        if window.exhausted:
            builder.notes.append(BUDGET_SPENT)
    if not window.obstacle:
        return _done(file, builder, window.fingerprint())
    card.expect()
    file = replace(file, obstacle=window.obstacle)
    if not window.head:  # nothing of it was seen, so that nothing can be said of its content
        return _unopened(file)
    builder.notes.append(window.obstacle)
    return _done(file, builder, fingerprint=0)


def read_source(source: Source, file: CardFile) -> FactsBuilder:
    """What the bytes of a file say; they may be anything."""
    container = recognise(source)
    if container is None:
        return _by_library(source, file) or _no_picture(container, file)
    if not container.is_picture:
        return _no_picture(container, file)
    builder = FactsBuilder(container=container.name, role=container.role)
    if container.read is not None:
        _read_picture(container.read, source, builder)
        sane.settle(builder)
        _judge(builder)
    elif not fallback.read(source, builder):
        builder.notes.append(NO_READER)
    extension = file.extension
    if builder.container == "tiff" and names.role(extension) is Role.RAW:
        builder.container, builder.role = extension, Role.RAW
    if extension in names.THUMBNAILS:
        builder.role = Role.THUMBNAIL
    if names.lies(extension, builder.container):
        builder.notes.append(_lie(file, builder))
    if source.allowance.spent:
        builder.notes.append(ALLOWANCE_SPENT)
    if not builder.facts.get("moment") and not builder.notes:
        builder.notes.append(NO_TIME)
    return builder


def _by_library(source: Source, file: CardFile) -> FactsBuilder | None:
    """What the general-purpose library finds in a picture of a form that we do not know."""
    role = names.role(file.extension)
    if role not in PICTURE_ROLES:
        return None
    builder = FactsBuilder(container="", role=role)
    return builder if fallback.read(source, builder) else None


def _read_picture(read: Reader, source: Source, builder: FactsBuilder) -> None:
    """The readers take any bytes; a hole in that promise must not end the run."""
    try:
        read(source, builder)
        ask_again = builder.notes == [block.NONE] and builder.container in _ASKED_AGAIN
        if ask_again and fallback.read(source, builder):
            builder.notes.remove(block.NONE)
    except (ArithmeticError, LookupError, ValueError, TypeError, struct.error):
        builder.notes.append(NOT_UNDERSTOOD)


def _judge(builder: FactsBuilder) -> None:
    """A head without time, size and camera is what is left of a picture, and none itself."""
    facts = builder.facts
    if builder.container in _SIZE_UNREAD or facts.get("width") or facts.get("moment"):
        return
    if not facts.get("make") and not facts.get("model"):
        builder.is_picture = False
        builder.notes.append(NOTHING)


def _no_picture(container: Container | None, file: CardFile) -> FactsBuilder:
    role = names.role(file.extension) if container is None else container.role
    builder = FactsBuilder(container="" if container is None else container.name, role=role)
    builder.is_picture = False
    if role in PICTURE_ROLES:
        builder.notes.append(NO_PICTURE)
    elif names.lies(file.extension, builder.container):
        builder.notes.append(_lie(file, builder))
    return builder


def _lie(file: CardFile, builder: FactsBuilder) -> str:
    return f"its name says {file.extension}, its content is {builder.container}"


def _unopened(file: CardFile) -> ReadFile:
    """A file of which nothing was seen: for its obstacle, or because there is nothing in it."""
    return ReadFile(
        file=file, role=names.role(file.extension), notes=(file.obstacle or Damage.EMPTY,)
    )


def _done(file: CardFile, builder: FactsBuilder, fingerprint: int) -> ReadFile:
    return ReadFile(
        file=file,
        role=builder.role,
        container=builder.container,
        is_picture=builder.is_picture,
        facts=builder.built(),
        previews=tuple(builder.previews),
        notes=tuple(dict.fromkeys(builder.notes)),
        fingerprint=fingerprint,
    )
