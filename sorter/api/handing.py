"""Stacks handed to another program, and its results taken back."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from sorter.api.paths import StrPath, optional_path
from sorter.api.plain import Json, plain
from sorter.api.progress import Cancel, Progress, Stage, Watch
from sorter.errors import BadChoice
from sorter.handoff.numbers import parse_numbers
from sorter.model.finding import JUDGED, Verdict
from sorter.model.kinds import SEQUENCE_KINDS, STACK_KINDS, Kind
from sorter.model.result import Collection, CommandRequest, Results, ResultType
from sorter.model.stack import (
    Handoff,
    LeftOut,
    PassedOver,
    SliceFiles,
    SliceOrder,
    Spans,
    Stack,
    StackRequest,
)
from sorter.pipeline.collecting import collect as collect_files
from sorter.pipeline.handing import hand_off as hand_over
from sorter.pipeline.merging import merge
from sorter.settings import parse_shift

if TYPE_CHECKING:
    from concurrent.futures import Executor

FINISHED_WITHOUT_SOME = 1
Ask = Callable[[str, tuple[Stack, ...]], int | None]
"""Asks which sequence a file is of; None for none, or where nobody can say."""


@dataclass(frozen=True, slots=True, kw_only=True)
class HandOffRequest:
    """What is asked: lists and folders, or a command to be run."""

    shoot: Path
    stacks: StackRequest
    lists: Path | None = None
    folders: Path | None = None
    asked: CommandRequest | None = None
    executor: Executor | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class HandedOff:
    """What came of it: lists and folders (handoff), or results (results)."""

    handoff: Handoff | None = None
    results: Results | None = None

    @property
    def exit_code(self) -> int:
        """As of the command: 1 where stacks were left out, or gave no result."""
        failed = self.results.failed if self.results else ()
        return FINISHED_WITHOUT_SOME if failed or self._left_out else 0

    @property
    def _left_out(self) -> tuple[LeftOut, ...]:
        both = self.handoff or self.results
        return both.left_out if both else ()

    @property
    def _passed_over(self) -> PassedOver:
        both = self.handoff or self.results
        return both.passed_over if both else ()

    def to_dict(self) -> dict[str, Json]:
        """Each stack by its number, and what came of it."""
        return {
            "form": 1,
            "exit_code": self.exit_code,
            "handed": [
                {
                    **_stack(each.stack),
                    "linked": each.linked,
                    "copied": each.copied,
                    "there_already": each.there_already,
                }
                for each in (self.handoff.handed if self.handoff else ())
            ],
            "lists": plain((self.handoff.lists or None) if self.handoff else None),
            "folders": plain((self.handoff.folders or None) if self.handoff else None),
            "merged": [
                {
                    **_stack(each.stack),
                    "result": plain(each.path),
                    "seconds": round(each.seconds, 3),
                    "notes": plain(each.notes),
                    "there_already": each.there_already,
                }
                for each in (self.results.merged if self.results else ())
            ],
            "failed": [
                {**_stack(each.stack), "reason": plain(each.reason), "log": plain(each.log)}
                for each in (self.results.failed if self.results else ())
            ],
            "left_out": plain(self._left_out),
            "passed_over": [
                {"sequence": number, "kind": kind.value} for number, kind in self._passed_over
            ],
        }


def _stack(stack: Stack) -> dict[str, Json]:
    return {
        "sequence": stack.number,
        "kind": stack.kind.value,
        "name": plain(stack.name),
        "frames": stack.frames,
        "order": stack.order.value,
        "slices": [plain(each.row.destination) for each in stack.slices],
    }


@dataclass(frozen=True, slots=True, kw_only=True)
class CollectRequest:
    """Which files are to be taken in as results, and who can be asked of which stack they are."""

    shoot: Path
    files: tuple[Path, ...]
    stacks: StackRequest
    ask: Ask


@dataclass(frozen=True, slots=True, kw_only=True)
class CollectedResults:
    """What came of files that were to be taken in."""

    collection: Collection

    @property
    def exit_code(self) -> int:
        """0; 1 where some were not taken in."""
        return int(bool(self.collection.refused))

    def to_dict(self) -> dict[str, Json]:
        """Each file, and what came of it."""
        return {
            "form": 1,
            "exit_code": self.exit_code,
            "collected": plain(self.collection.collected),
            "refused": plain(self.collection.refused),
        }


def hand_off(
    shoot: StrPath,
    *,
    list: StrPath | None = None,  # noqa: A002  the option's name
    folders: StrPath | None = None,
    run: str | None = None,
    result_type: str = "tif",
    jobs: int = 1,
    time_limit: str | float | None = None,
    again: bool = False,
    only: str | Iterable[int] | None = None,
    kind: str | Iterable[str] = (),
    files: str | None = None,
    order: str = "capture",
    best: int | None = None,
    verdict: str | Iterable[str] = (),
    trim: bool = False,
    with_related: bool = False,
    progress: Progress | None = None,
    cancel: Cancel | None = None,
    executor: Executor | None = None,
) -> HandedOff:
    """The stacks of a shoot as lists or folders, or a command run once for each.

    The options are those of `sorter handoff`; time_limit as text (90s, 15m, 2h) or in seconds; kind and
    verdict one or several. executor: commands are run over it. Raises NoShoot, ShootBusy, LedgerDamaged,
    BadChoice, OutputNotWritable, ShootNotWritable, NoRoom, Cancelled.

    >>> done = ingest(card, shoot)
    >>> handed = hand_off(shoot, list=lists, kind="burst")
    >>> [(each["sequence"], each["frames"]) for each in handed.to_dict()["handed"]]
    [(1, 4)]
    """
    if (run is not None) and (list is not None or folders is not None):
        raise BadChoice("--run, --collect, and --list or --folders: each goes by itself.")
    chosen = stack_request(
        only=only, kind=kind, files=files, order=order, best=best, verdict=verdict, trim=trim,
        with_related=with_related,
    )  # fmt: skip
    asked = None
    if run is not None:
        asked = CommandRequest(
            command=run,
            result_type=ResultType(_one_of(result_type, ResultType, "--result-type")),
            jobs=jobs,
            limit_s=_limit(time_limit),
            again=again,
        )
    request = HandOffRequest(
        shoot=Path(shoot),
        stacks=chosen,
        lists=optional_path(list),
        folders=optional_path(folders),
        asked=asked,
        executor=executor,
    )
    return handed_off(request, Watch.of(progress, cancel))


def handed_off(request: HandOffRequest, watch: Watch) -> HandedOff:
    """The request answered."""
    if request.asked is not None:
        report = watch.progress_of(Stage.MERGING)
        return HandedOff(
            results=merge(request.shoot, request.stacks, request.asked, report, request.executor)
        )
    report = watch.progress_of(Stage.HANDING)
    return HandedOff(
        handoff=hand_over(
            request.shoot, request.stacks, report, lists=request.lists, folders=request.folders
        )
    )


def stack_request(
    *,
    only: str | Iterable[int] | None = None,
    kind: str | Iterable[str] = (),
    files: str | None = None,
    order: str = "capture",
    best: int | None = None,
    verdict: str | Iterable[str] = (),
    trim: bool = False,
    with_related: bool = False,
) -> StackRequest:
    """Which sequences, and how. Raises BadChoice."""
    kinds = frozenset(Kind(_one_of(each, SEQUENCE_KINDS, "--kind")) for each in _many(kind))
    verdicts = frozenset(Verdict(_one_of(each, JUDGED, "--verdict")) for each in _many(verdict))
    return StackRequest(
        kinds=kinds or STACK_KINDS,
        only=_numbers(only),
        files=SliceFiles(_one_of(files, SliceFiles, "--files")) if files else None,
        order=SliceOrder(_one_of(order, SliceOrder, "--order")),
        best=best,
        verdicts=verdicts or None,
        trims=trim,
        with_related=with_related,
    )


def _numbers(only: str | Iterable[int] | None) -> Spans | None:
    if only is None:
        return None
    return parse_numbers(only if isinstance(only, str) else ",".join(map(str, only)))


def _many(words: str | Iterable[str]) -> tuple[str, ...]:
    return (words,) if isinstance(words, str) else tuple(words)


def _one_of(word: str, words: Iterable[str], option: str) -> str:
    known = [str(each) for each in words]
    if str(word) not in known:
        raise BadChoice(f"{option} {word!r} is none of {', '.join(known)}.")
    return str(word)


def _limit(limit: str | float | None) -> float | None:
    """Seconds out of `90s`, `15m`, `2h`. Raises BadChoice where it is no such text."""
    if limit is None or isinstance(limit, int | float):
        return limit
    seconds = parse_shift(limit)
    if seconds is None or seconds <= 0:
        raise BadChoice(f"--time-limit {limit!r} is not understood. Write 90s, 15m or 2h.")
    return seconds


def collect(
    shoot: StrPath,
    files: Iterable[StrPath],
    *,
    only: str | Iterable[int] | None = None,
    ask: Ask = lambda *_: None,
    progress: Progress | None = None,
    cancel: Cancel | None = None,
    executor: Executor | None = None,
) -> CollectedResults:
    """Pictures that another program merged taken into the shoot as results, copied.

    They are matched to their stacks by name, else by time; with only=7 all of them are of sequence 7. ask:
    called with a file and stacks where neither tells. Raises NoShoot, ShootBusy, LedgerDamaged, BadChoice,
    ShootNotWritable, NoRoom, Cancelled.

    >>> done = ingest(card, shoot)
    >>> collect(shoot, ["nothing.tif"]).to_dict()["refused"][0]["file"]
    'nothing.tif'
    """
    del executor
    watch = Watch.of(progress, cancel)
    request = CollectRequest(
        shoot=Path(shoot),
        files=tuple(map(Path, files)),
        stacks=StackRequest() if only is None else StackRequest(only=_numbers(only)),
        ask=ask,
    )
    return collected(request, watch)


def collected(request: CollectRequest, watch: Watch) -> CollectedResults:
    """The request answered."""
    report = watch.progress_of(Stage.COLLECTING)
    found = collect_files(request.shoot, request.stacks, request.files, request.ask, report)
    return CollectedResults(collection=found)
