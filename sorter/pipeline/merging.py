"""A stacking program run once for each stack, and its results brought into the shoot."""

from __future__ import annotations

import shutil
from collections.abc import Generator
from concurrent.futures import Executor
from contextlib import ExitStack, closing, suppress
from dataclasses import dataclass
from pathlib import Path

from sorter.disk.permission import Permission, permission_to_work
from sorter.disk.shoot import WORK, Shoot
from sorter.errors import BadChoice
from sorter.handoff.choose import choose
from sorter.handoff.command import LIST, Command, parse_command
from sorter.handoff.lists import refuse_shoot
from sorter.model.folders import RESULTS
from sorter.model.progress import CountProgress
from sorter.model.result import CommandRequest, Failed, Merged, Results
from sorter.model.stack import Choice, Stack, StackRequest
from sorter.pipeline.finishing import Keeper
from sorter.pipeline.handing import findings_of
from sorter.pipeline.recording import write_records
from sorter.pipeline.stacking import Job, Ready, merge_one
from sorter.pipeline.working import AHEAD, Workers, as_they_come
from sorter.writing.ledger import Ledger
from sorter.writing.target import stopping_clearly


def merge(
    root: Path,
    request: StackRequest,
    asked: CommandRequest,
    progress: CountProgress,
    executor: Executor | None = None,
) -> Results:
    """The command is run once for each stack that is asked for and has no result yet.

    executor: where it is run from; None for threads. As many run at a time as is asked for.
    A stack that fails does not stop the others. Raises BadChoice before anything is run where the
    command or the request does not fit, what Ledger raises, and where the shoot's disk takes no more
    what Target makes of it: what was merged before that is kept, and the same command goes on.
    """
    command = parse_command(asked.command, with_related=request.with_related)
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
        choice = choose(entries, request, findings_of(root, request, entries))
        keeper = Keeper(shoot=shoot, ledger=ledger)
        return _Merging(
            shoot=shoot,
            keeper=keeper,
            request=request,
            asked=asked,
            command=command,
            progress=progress,
            workers=Workers(jobs=asked.jobs, executor=executor),
        ).merged(choice)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Merging:
    """One run over the stacks of a shoot."""

    shoot: Shoot
    keeper: Keeper
    request: StackRequest
    asked: CommandRequest
    command: Command
    progress: CountProgress
    workers: Workers

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
            with closing(self._run_all(todo)) as coming:
                outcomes += coming
        finally:
            self._end()
        outcomes.sort(key=lambda each: each.stack.number)
        return Results(
            request=self.request,
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

    def _run_all(self, stacks: list[Stack]) -> Generator[Merged | Failed, None, None]:
        """One outcome after the other, as they come. All programs are ended where this one is."""
        self.progress(0, len(stacks))
        if not stacks:
            return
        with ExitStack() as open_:
            executor = open_.enter_context(self.workers.at_work())
            with stopping_clearly(self.shoot):
                permission = open_.enter_context(permission_to_work(self.shoot))
            jobs = (self._job(stack, permission) for stack in stacks)
            coming = as_they_come(executor, merge_one, jobs, self._at_most, permission.withdraw)
            open_.enter_context(closing(coming))
            for done, (job, outcome) in enumerate(coming, 1):
                yield self._kept(job.stack, outcome)
                self.progress(done, len(stacks))

    @property
    def _at_most(self) -> int:
        """Threads of our own are as many as are to run; of another's executor we do not know it."""
        return self.workers.jobs * (AHEAD if self.workers.executor is None else 1)

    def _job(self, stack: Stack, permission: Permission) -> Job:
        return Job(
            root=self.shoot.root,
            permission=permission,
            stack=stack,
            number=self.keeper.number(),
            asked=self.asked,
            command=self.command,
        )

    def _kept(self, stack: Stack, outcome: Ready | Failed) -> Merged | Failed:
        if isinstance(outcome, Failed):
            return outcome
        finished = outcome.finished
        name = f"{stack.name}.{self.asked.result_type}"
        made = f"merged by {Path(self.command.program).name}"
        path = self.keeper.keep(stack, finished, name, made)
        return Merged(stack=stack, path=path, seconds=outcome.seconds, notes=finished.notes)
