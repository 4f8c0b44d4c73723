"""A stacking program run once for each stack, and its results brought into the shoot."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from concurrent.futures import FIRST_COMPLETED, Future, ThreadPoolExecutor, wait
from contextlib import suppress
from dataclasses import dataclass, field
from pathlib import Path
from typing import Final

from sorter.disk import stacks as disk
from sorter.disk.shoot import WORK, Shoot
from sorter.disk.workplace import Workplace, read_whole
from sorter.errors import BadChoice
from sorter.handoff.choose import choose
from sorter.handoff.command import (
    FOLDER,
    FRAMES,
    LIST,
    NAME,
    RELATED,
    RESULT,
    Command,
    parse_command,
)
from sorter.handoff.deliver import obstacle, unlistable
from sorter.handoff.lists import list_text, refuse_shoot
from sorter.handoff.running import Ended, Runner
from sorter.model.folders import RESULTS
from sorter.model.result import Asked, Failed, Merged, Results
from sorter.model.stack import Choice, Stack, Wish
from sorter.pipeline.finishing import Finished, Keeper, finish, first_of
from sorter.pipeline.handing import said_of
from sorter.pipeline.recording import write_records
from sorter.pipeline.scanning import Tick
from sorter.pixels.decoded import Undecodable, picture_digest
from sorter.writing.ledger import Ledger
from sorter.writing.target import stopping_clearly

NO_LISTS: Final = "Use {frames} or {folder} in the command."


def merge(root: Path, wish: Wish, asked: Asked, tick: Tick) -> Results:
    """The command is run once for each stack that is wished for and has no result yet.

    A stack that fails does not stop the others. Raises BadChoice before anything is run where the
    command or the wish does not fit, what Ledger raises, and where the shoot's disk takes no more
    what Target makes of it: what was merged before that is kept, and the same command goes on.
    """
    command = parse_command(asked.command, with_related=wish.with_related)
    if shutil.which(command.program) is None:
        raise BadChoice(
            f"--run: there is no program {command.program!r} on this machine that could be run. Is "
            "it spelled right, installed, and on your path?"
        )
    shoot = Shoot(root)
    if LIST in command.fields:
        refuse_shoot(str(shoot.root))
    with Ledger(shoot.hidden, hold=True) as ledger:
        entries = ledger.entries()
        choice = choose(entries, wish, said_of(root, wish, entries))
        keeper = Keeper(shoot=shoot, ledger=ledger)
        return _Merging(
            shoot=shoot, keeper=keeper, wish=wish, asked=asked, command=command, tick=tick
        ).merged(choice)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Ready:
    """A result that is to be noted and placed yet."""

    stack: Stack
    finished: Finished
    seconds: float


@dataclass(slots=True, kw_only=True)
class _Merging:
    """One run over the stacks of a shoot."""

    shoot: Shoot
    keeper: Keeper
    wish: Wish
    asked: Asked
    command: Command
    tick: Tick
    _runner: Runner = field(init=False)

    def __post_init__(self) -> None:
        self._runner = Runner(self.asked.limit_s)

    def merged(self, choice: Choice) -> Results:
        """What came of each stack."""
        outcomes: list[Merged | Failed] = []
        todo = []
        for stack in choice.stacks:
            there = [] if self.asked.again else self.keeper.results(stack.number)
            if there:
                path = there[-1].row.destination
                outcomes.append(Merged(stack=stack, path=path, there_already=True))
            else:
                todo.append(stack)
        try:
            outcomes += self._run_all(todo)
        finally:
            self._end()
        outcomes.sort(key=lambda each: each.stack.number)
        return Results(
            wish=self.wish,
            merged=tuple(each for each in outcomes if isinstance(each, Merged)),
            failed=tuple(each for each in outcomes if isinstance(each, Failed)),
            left_out=tuple(sorted(choice.left_out, key=lambda each: each.number)),
            passed_over=choice.passed_over,
            folder=str(self.shoot.root / RESULTS),
        )

    def _end(self) -> None:
        """Nothing is left of the work but the results, which the lists name."""
        with suppress(OSError):
            self.shoot.clear(WORK)
        self.keeper.tidy_up()
        write_records(self.shoot, self.keeper.ledger.entries())

    def _run_all(self, stacks: list[Stack]) -> Iterator[Merged | Failed]:
        """One outcome after the other, as they come. All programs are ended where this one is."""
        self.tick(0, len(stacks))
        pool = ThreadPoolExecutor(max_workers=self.asked.jobs)
        waiting = {pool.submit(self._merge, each, self.keeper.number()) for each in stacks}
        try:
            while waiting:
                ended, waiting = wait(waiting, return_when=FIRST_COMPLETED)
                for future in ended:
                    yield self._kept(future)
                self.tick(len(stacks) - len(waiting), len(stacks))
        except BaseException:
            for future in waiting:
                future.cancel()
            raise
        finally:
            self._runner.stop()
            pool.shutdown(wait=True, cancel_futures=True)

    def _kept(self, future: Future[_Ready | Failed]) -> Merged | Failed:
        outcome = future.result()
        if isinstance(outcome, Failed):
            return outcome
        stack, finished = outcome.stack, outcome.finished
        name = f"{stack.name}.{self.asked.result_type}"
        made = f"merged by {Path(self.command.program).name}"
        path = self.keeper.keep(stack, finished, name, made)
        return Merged(stack=stack, path=path, seconds=outcome.seconds, notes=finished.notes)

    # ---- one stack, in a thread of its own ---------------------------------------------------

    def _merge(self, stack: Stack, number: int) -> _Ready | Failed:
        """Its result among the unfinished files, or why there is none. Raises SorterError."""
        if reason := self._obstacle(stack):
            return Failed(stack=stack, reason=reason)
        place = Workplace(self.shoot, stack.number, stack.name)
        with stopping_clearly(self.shoot):
            place.prepare()
            try:
                return self._merge_at(place, stack, number)
            except disk.Spoiled as why:
                return Failed(stack=stack, reason=f"a slice {why}")
            finally:
                with suppress(OSError):
                    place.clear()

    def _obstacle(self, stack: Stack) -> str:
        every = (stack, *stack.related)
        reasons = (obstacle(self.shoot.root, each) for each in every)
        reason = next(filter(None, reasons), "")
        if not reason and LIST in self.command.fields:
            reason = unlistable(stack, NO_LISTS)
        return reason

    def _merge_at(self, place: Workplace, stack: Stack, number: int) -> _Ready | Failed:
        result = place.result(self.asked.result_type)
        arguments = self._arguments(place, stack, result)
        before = disk.stamps(self._paths(stack))
        ended = self._ended(place, arguments)
        if isinstance(ended, str):
            return Failed(stack=stack, reason=ended)
        reason = self._reason(ended, result) or self._touched(before)
        if not reason:
            try:
                picture = picture_digest(result)
                finished = finish(self.shoot, number, read_whole(result), picture, stack)
            except Undecodable as why:
                reason = f"its result {why}"
            else:
                return _Ready(stack=stack, finished=finished, seconds=ended.seconds)
        return Failed(stack=stack, reason=reason, log=str(place.log), seconds=ended.seconds)

    def _arguments(self, place: Workplace, stack: Stack, result: Path) -> tuple[str, ...]:
        """The command for the stack. What it names of list and folder is made now."""
        texts = {RESULT: str(result), NAME: stack.name}
        if LIST in self.command.fields:
            texts[LIST] = str(place.write_list(list_text(str(self.shoot.root), stack)))
        if FOLDER in self.command.fields:
            root = self.shoot.root
            rows = ((each.row, each.name) for each in stack.slices)
            texts[FOLDER] = str(
                place.lay_out((root / r.destination, n, r.bytes, r.sha256) for r, n in rows)
            )
        many = {
            FRAMES: [str(path) for path in self._paths(stack)],
            RELATED: [str(path) for each in stack.related for path in self._paths(each)],
        }
        return self.command.filled(first_of(stack), texts, many)

    def _paths(self, stack: Stack) -> list[Path]:
        return [self.shoot.root / each.row.destination for each in stack.slices]

    def _ended(self, place: Workplace, arguments: tuple[str, ...]) -> Ended | str:
        """How the program ended, or why it could not be started."""
        with place.open_log() as log:
            try:
                return self._runner.run(arguments, log)
            except (OSError, ValueError) as error:
                why = getattr(error, "strerror", None) or str(error)
                return f"the program cannot be started: {why}"

    def _reason(self, ended: Ended, result: Path) -> str:
        """Why the program gave no result; empty where it may have given one."""
        if ended.stopped:
            return "stopped"
        if ended.late:
            return f"the program was ended at the time limit of {self.asked.limit_s:g} s"
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
