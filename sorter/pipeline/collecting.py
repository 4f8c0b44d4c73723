"""Results that were made by hand, taken into the shoot: matched, given their Exif back, verified."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import Final, TypeAlias

from sorter.disk.card import Card
from sorter.disk.output import is_within, real_path
from sorter.disk.shoot import Shoot
from sorter.disk.workplace import read_whole
from sorter.errors import BadChoice
from sorter.handoff.choose import choose
from sorter.handoff.matching import by_name, by_time
from sorter.model.card import CardFile
from sorter.model.folders import RESULTS
from sorter.model.progress import CountProgress
from sorter.model.result import Collected, Collection, NotCollected
from sorter.model.stack import Stack, StackRequest
from sorter.pipeline.finishing import Finished, Keeper, as_it_is, finish
from sorter.pipeline.recording import write_records
from sorter.pixels.decoded import Undecodable, picture_digest
from sorter.reading.cards import read_files
from sorter.writing.ledger import Ledger
from sorter.writing.target import stopping_clearly

Ask: TypeAlias = Callable[[str, tuple[Stack, ...]], int | None]
"""Asks which sequence the file of this path is of; None for none of them, or where nobody can say."""

BY_WORD: Final = "your word"
MADE: Final = "merged by hand"
_LOOKED_INTO: Final = frozenset({".jpg", ".jpeg", ".png", ".tif", ".tiff"})
_NOT_LOOKED_INTO: Final = "its form is not looked into, and its Exif was not put back"
_SHOOTS_OWN: Final = "is a file of the shoot already, and no result of another program."
_UNMATCHED: Final = (
    "which stack it was merged from cannot be told by its name, nor by its time. Name the sequence: "
    "--only 7 --collect FILE."
)


def collect(
    root: Path, request: StackRequest, files: Iterable[Path], ask: Ask, progress: CountProgress
) -> Collection:
    """The files are in the shoot as results, each of its stack, copied; and what came of each.

    Where the request names one sequence, all are of that one. Raises BadChoice where the request does not
    fit the shoot or no file is named, what Ledger raises, and where the shoot's disk takes no more
    what Target makes of it: what was taken in before that is kept.
    """
    files = tuple(files)
    if not files:
        raise BadChoice("--collect: name the files that are to be taken in as results.")
    shoot = Shoot(root)
    with Ledger(shoot.hidden, hold=True) as ledger:
        stacks = choose(ledger.entries(), request).stacks
        keeper = Keeper(shoot=shoot, ledger=ledger)
        taking = _Taking(shoot=shoot, keeper=keeper, request=request, stacks=stacks, ask=ask)
        outcomes: list[Collected | NotCollected] = []
        try:
            for done, file in enumerate(files, 1):
                outcomes.append(taking.take(file))
                progress(done, len(files))
        finally:
            write_records(shoot, ledger.entries())
    return Collection(
        collected=tuple(each for each in outcomes if isinstance(each, Collected)),
        refused=tuple(each for each in outcomes if isinstance(each, NotCollected)),
    )


@dataclass(slots=True, kw_only=True)
class _Taking:
    """Takes in one file after the other."""

    shoot: Shoot
    keeper: Keeper
    request: StackRequest
    stacks: tuple[Stack, ...]
    ask: Ask

    def take(self, file: Path) -> Collected | NotCollected:
        """What came of the file. Raises SorterError for the shoot's disk."""
        try:
            data = read_whole(file)
        except OSError as error:
            return NotCollected(file=str(file), reason=f"cannot be read ({error.strerror}).")
        if not data:
            return NotCollected(file=str(file), reason="is empty.")
        own = self._own_path(file)
        if own and self.keeper.knows(own):
            return NotCollected(file=str(file), reason=_SHOOTS_OWN)
        match = self._match(file)
        if match is None:
            return NotCollected(file=str(file), reason=_UNMATCHED)
        with stopping_clearly(self.shoot):
            return self._taken(file, data, *match, own if own.startswith(f"{RESULTS}/") else "")

    def _own_path(self, file: Path) -> str:
        """The file's path below the shoot; empty where it lies elsewhere."""
        real = real_path(file)
        if not is_within(real, self.shoot.root):
            return ""
        return real.relative_to(self.shoot.root).as_posix()

    def _match(self, file: Path) -> tuple[Stack, str] | None:
        """The stack that the file was merged from, and how that is known."""
        named = {each.number: each for each in self.stacks}
        if self.request.only is not None and len(named) == 1:
            return self.stacks[0], BY_WORD
        found = by_name(file.name, self.stacks) or by_time(*_reported(file), self.stacks)
        if found is None:
            number = self.ask(str(file), self.stacks)
            return (named[number], BY_WORD) if number in named else None
        return named[found[0]], found[1]

    def _taken(
        self, file: Path, data: bytes, stack: Stack, by: str, instead: str
    ) -> Collected | NotCollected:
        try:
            finished = self._finished(file, data, stack)
        except Undecodable as why:
            return NotCollected(file=str(file), reason=f"{why}.")
        there = self.keeper.equal(stack, finished)
        if there:
            self.shoot.remove(self.shoot.unfinished(finished.number))
            path = there
        else:
            path = self.keeper.keep(stack, finished, file.name, MADE, instead=instead)
        return Collected(
            file=str(file),
            sequence=stack.number,
            path=path,
            by=by,
            notes=finished.notes,
            there_already=bool(there),
        )

    def _finished(self, file: Path, data: bytes, stack: Stack) -> Finished:
        number = self.keeper.number()
        if file.suffix.casefold() not in _LOOKED_INTO:
            return as_it_is(self.shoot, number, data, _NOT_LOOKED_INTO)
        return finish(self.shoot, number, data, picture_digest(file), stack)


def _reported(file: Path) -> tuple[str, str]:
    """When, and by which camera, the file says that it was taken; empty where it does not."""
    card = Card(file.absolute().parent, of_shoot=True)  # a result may lie in the shoot itself
    facts = read_files(card, [CardFile(path=file.name, size=file.stat().st_size)])[0].facts
    return (facts.moment.iso(), facts.camera) if facts.moment else ("", "")
