"""One file from the card to an unfinished copy: hashed and watched on the way, then read back."""

from __future__ import annotations

import hashlib
import os
import threading
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from typing import Final, TypeAlias

from sorter.disk.card import Card
from sorter.disk.shoot import Shoot
from sorter.disk.streams import Stream, digest
from sorter.model.kinds import PICTURE_ROLES
from sorter.model.plan import Entry
from sorter.writing.integrity import Watch

Tick: TypeAlias = Callable[[int], None]
"""Called with the bytes that were dealt with since the last call."""

DIFFERS: Final = "its copy came out different, twice: the disk of the shoot may be failing"
NOT_CARRIED: Final = "not carried: "
STOPPED: Final = "stopped"
FEWER: Final = "cannot be read to its end: it gave {count} of {size} bytes"


class Unreadable(Exception):
    """The card did not give the file's bytes; the text says why."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Read:
    """What the card gave: bytes, digest, stamp, and what is to be said of it."""

    count: int
    sha256: str
    modified_ns: int
    said: tuple[str, ...] = ()

    def known_of(self, entry: Entry) -> Entry:
        """The entry with all that reading told of its file."""
        placement = entry.placement
        told = set(placement.row.notes.split("; "))
        before = without_failures(placement.said)
        said = dict.fromkeys((*before, *(one for one in self.said if one not in told)))
        row = replace(placement.row, bytes=self.count, sha256=self.sha256)
        placement = replace(placement, row=row, said=tuple(said))
        return replace(entry, placement=placement, modified_ns=self.modified_ns)


def without_failures(said: tuple[str, ...]) -> tuple[str, ...]:
    """What is said of a file without the reasons why it could not be carried before."""
    return tuple(one for one in said if not one.startswith(NOT_CARRIED))


@dataclass(frozen=True, slots=True, kw_only=True)
class Copied:
    """What became of one file: the entry with all that is known of it, and what went wrong."""

    entry: Entry
    reason: str = ""


class Copier:
    """Reads files of one card, and copies them into one shoot. Threads may share it."""

    def __init__(self, card: Card, shoot: Shoot, tick: Tick) -> None:
        self._card = card
        self._shoot = shoot
        self._tick = tick
        self._stopped = threading.Event()

    def stop(self) -> None:
        """What is being read ends at its next block."""
        self._stopped.set()

    def copied(self, entry: Entry) -> Copied:
        """The card's bytes stand in the entry's unfinished file, on their way to the disk.

        Raises CardGone; OSError for the shoot's disk.
        """
        try:
            return Copied(entry=self._copy(entry).known_of(entry))
        except Unreadable as reason:
            return Copied(entry=entry, reason=str(reason))

    def checked(self, copied: Copied, *, forced: bool = False) -> Copied:
        """The copy is forced to the disk, unless it was, and reads back as what the card gave.

        One that differs is made once more. Raises as copied does.
        """
        if copied.reason or self.is_on_disk(copied.entry, forced=forced):
            return copied
        again = self.copied(copied.entry)
        if again.reason or self.is_on_disk(again.entry):
            return again
        return Copied(entry=copied.entry, reason=DIFFERS)

    def looked_at(self, entry: Entry) -> Copied:
        """The card's bytes are known and stay where they are. Raises CardGone."""
        try:
            read = self._passed_on(entry, lambda _: None)
        except Unreadable as reason:
            return Copied(entry=entry, reason=str(reason))
        return Copied(entry=read.known_of(entry))

    def _copy(self, entry: Entry) -> Read:
        with self._shoot.new_file(entry.number) as file:
            read = self._passed_on(entry, file.write)
            late = file.stamp(read.modified_ns)
            file.start_writing()
        return replace(read, said=(*read.said, late)) if late else read

    def is_on_disk(self, entry: Entry, *, forced: bool = False) -> bool:
        """Whether the unfinished file, forced to the disk, reads back as the entry's bytes.

        Raises OSError.
        """
        if not forced:
            self._shoot.force(entry.number)
        with self._shoot.open(self._shoot.unfinished(entry.number)) as stream:
            stream.past_the_cache()
            return digest(stream) == (entry.row.bytes, entry.row.sha256)

    def _passed_on(self, entry: Entry, write: Callable[[memoryview], None]) -> Read:
        is_picture = entry.row.role in PICTURE_ROLES
        watch = Watch(entry.placement.container, is_picture=is_picture)
        count, hashed = 0, hashlib.sha256()
        with self._opened(entry.row.source) as stream:
            for block in self._blocks(stream):
                if self._stopped.is_set():
                    raise Unreadable(STOPPED)
                hashed.update(block)
                watch.feed(block)
                write(block)
                count += len(block)
                self._tick(len(block))
            if count != stream.size:
                raise Unreadable(FEWER.format(count=count, size=stream.size))
            verdict = watch.verdict()
            return Read(
                count=count,
                sha256=hashed.hexdigest(),
                modified_ns=stream.modified_ns,
                said=(verdict,) if verdict else (),
            )

    def _opened(self, source: str) -> Stream:
        try:
            return self._card.stream(source)
        except OSError as error:
            raise Unreadable(_in_words(error)) from error

    def _blocks(self, stream: Stream) -> Iterator[memoryview]:
        """The stream's blocks; what the card has against it is told from what other disks have."""
        blocks = stream.blocks()
        while True:
            try:
                block = next(blocks, None)
            except OSError as error:
                self._card.expect()
                raise Unreadable(_in_words(error)) from error
            if block is None:
                return
            yield block


def _in_words(error: OSError) -> str:
    reason = os.strerror(error.errno) if error.errno else str(error)
    return f"cannot be read: {reason}"
