"""One stack merged by a command, in whatever thread or process, and its result looked at.

The unit of work is a stack: a program runs for it, and its result lies among the shoot's unfinished files
then. What comes back says where; noting and placing it is for the one caller that holds the ledger.
"""

from __future__ import annotations

from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from sorter.disk import stacks as disk
from sorter.disk.permission import Permission
from sorter.disk.shoot import Shoot
from sorter.disk.workplace import Workplace, read_whole
from sorter.handoff.command import FOLDER, FRAMES, LIST, NAME, RELATED, RESULT, Command
from sorter.handoff.deliver import obstacle, unlistable
from sorter.handoff.lists import list_text
from sorter.handoff.running import Ended, run
from sorter.model.result import CommandRequest, Failed
from sorter.model.stack import Stack
from sorter.pipeline.finishing import Finished, finish, first_of
from sorter.pixels.decoded import Undecodable, picture_digest
from sorter.writing.target import stopping_clearly

NO_LISTS: Final = "Use {frames} or {folder} in the command."
STOPPED: Final = "stopped"


@dataclass(frozen=True, slots=True, kw_only=True)
class Job:
    """One task. number: of the unfinished file that its result is to be."""

    root: Path
    permission: Permission
    stack: Stack
    number: int
    asked: CommandRequest
    command: Command


@dataclass(frozen=True, slots=True, kw_only=True)
class Ready:
    """A result that is to be noted and placed yet. seconds: how long the program ran."""

    finished: Finished
    seconds: float


def merge_one(job: Job) -> Ready | Failed:
    """The stack's result among the unfinished files, or why there is none. Raises SorterError."""
    return _Merging(job=job, shoot=Shoot(job.root)).merged()


@dataclass(frozen=True, slots=True, kw_only=True)
class _Merging:
    """One stack at work."""

    job: Job
    shoot: Shoot

    @property
    def stack(self) -> Stack:
        return self.job.stack

    @property
    def fields(self) -> frozenset[str]:
        return self.job.command.fields

    def merged(self) -> Ready | Failed:
        """Its result, or why there is none."""
        if reason := self._obstacle():
            return Failed(stack=self.stack, reason=reason)
        place = Workplace(self.shoot, self.stack.number, self.stack.name)
        with stopping_clearly(self.shoot):
            place.prepare()
            try:
                return self._merge_at(place)
            except disk.Spoiled as why:
                return Failed(stack=self.stack, reason=f"a slice {why}")
            finally:
                with suppress(OSError):
                    place.clear()

    def _obstacle(self) -> str:
        if not self.job.permission.holds:
            return STOPPED
        every = (self.stack, *self.stack.related)
        reasons = (obstacle(self.shoot.root, each) for each in every)
        reason = next(filter(None, reasons), "")
        if not reason and LIST in self.fields:
            reason = unlistable(self.stack, NO_LISTS)
        return reason

    def _merge_at(self, place: Workplace) -> Ready | Failed:
        result = place.result(self.job.asked.result_type)
        arguments = self._arguments(place, result)
        before = disk.stamps(self._paths(self.stack))
        ended = self._ended(place, arguments)
        if isinstance(ended, str):
            return Failed(stack=self.stack, reason=ended)
        reason = self._reason(ended, result) or self._touched(before)
        if not reason:
            try:
                return Ready(finished=self._finished(result), seconds=ended.seconds)
            except Undecodable as why:
                reason = f"its result {why}"
        log = str(place.log)
        return Failed(stack=self.stack, reason=reason, log=log, seconds=ended.seconds)

    def _finished(self, result: Path) -> Finished:
        picture = picture_digest(result)
        return finish(self.shoot, self.job.number, read_whole(result), picture, self.stack)

    def _arguments(self, place: Workplace, result: Path) -> tuple[str, ...]:
        """The command for the stack. What it names of list and folder is made now."""
        texts = {RESULT: str(result), NAME: self.stack.name}
        if LIST in self.fields:
            texts[LIST] = str(place.write_list(list_text(str(self.shoot.root), self.stack)))
        if FOLDER in self.fields:
            root = self.shoot.root
            rows = ((each.row, each.name) for each in self.stack.slices)
            texts[FOLDER] = str(
                place.lay_out((root / r.destination, n, r.bytes, r.sha256) for r, n in rows)
            )
        many = {
            FRAMES: [str(path) for path in self._paths(self.stack)],
            RELATED: [str(path) for each in self.stack.related for path in self._paths(each)],
        }
        return self.job.command.filled(first_of(self.stack), texts, many)

    def _paths(self, stack: Stack) -> list[Path]:
        return [self.shoot.root / each.row.destination for each in stack.slices]

    def _ended(self, place: Workplace, arguments: tuple[str, ...]) -> Ended | str:
        """How the program ended, or why it could not be started."""
        job = self.job
        with place.open_log() as log:
            try:
                return run(arguments, log, job.permission, limit_s=job.asked.limit_s)
            except (OSError, ValueError) as error:
                why = getattr(error, "strerror", None) or str(error)
                return f"the program cannot be started: {why}"

    def _reason(self, ended: Ended, result: Path) -> str:
        """Why the program gave no result; empty where it may have given one."""
        if ended.stopped:
            return STOPPED
        if ended.late:
            return f"the program was ended at the time limit of {self.job.asked.limit_s:g} s"
        if ended.code < 0:
            return f"the program was ended by signal {-ended.code}"
        if ended.code:
            return f"the program ended with exit code {ended.code}"
        return "" if result.is_file() else f"the program ended well, and wrote no {result.name}"

    def _touched(self, before: dict[Path, tuple[int, int, int]]) -> str:
        """Which of the slices the program wrote to; empty where it left them alone."""
        now = disk.stamps(before)
        changed = next((path for path in before if now.get(path) != before[path]), None)
        if changed is None:
            return ""
        below = changed.relative_to(self.shoot.root)
        return f"the program changed {below}, a frame of the shoot. {disk.ASK_VERIFY}"
