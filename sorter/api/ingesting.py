"""A card carried into a shoot: planned, and carried out."""

from __future__ import annotations

from contextlib import ExitStack
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Self

from sorter.api.options import Clock, Corrections, Grouping, corrections_of, folder_of
from sorter.api.paths import StrPath, optional_path
from sorter.api.plain import Json, error_dict, plain, sources, with_notes
from sorter.api.progress import Cancel, Progress, Stage, Watch
from sorter.api.tables import file_table
from sorter.errors import NotAgreed
from sorter.manifest.rows import spelled
from sorter.model.advice import last_line
from sorter.pipeline.ingest_options import IngestOptions, StageProgress
from sorter.pipeline.ingest_report import BackupReport, Report
from sorter.pipeline.ingesting import Ingest
from sorter.pipeline.planned import IngestPlan
from sorter.pipeline.working import Workers
from sorter.settings import Settings

if TYPE_CHECKING:
    from concurrent.futures import Executor

    import pandas as pd

FINISHED_WITHOUT_SOME = 1
VERIFICATION_FAILED = 4


@dataclass(frozen=True, slots=True, kw_only=True)
class IngestRequest:
    """What is asked: this card into this shoot, as the options say. executor: who looks at pictures."""

    card: Path
    shoot: Path
    options: IngestOptions
    executor: Executor | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Ingested:
    """What carrying a plan came to. plan: that was looked at; report: what became of each file."""

    plan: IngestPlan
    report: Report

    @property
    def exit_code(self) -> int:
        """As of the command: 0, 1 or 4; 3 where a disk ended the work in one of the folders."""
        if self.report.failures:
            return self.report.failures[0].exit_code
        if self.report.has_differing:
            return VERIFICATION_FAILED
        return 0 if self.report.is_whole else FINISHED_WITHOUT_SOME

    @property
    def is_whole(self) -> bool:
        """Whether every file of the card is in the shoot, and in its second copy, as it was."""
        return self.exit_code == 0

    def to_dict(self) -> dict[str, Json]:
        """How it ended, file by file where something is to be said; paths below the card."""
        report = self.report
        return {
            "form": 1,
            "card": spelled(str(self.plan.card)),
            "shoot": spelled(str(self.plan.shoot)),
            "exit_code": self.exit_code,
            "moves": report.moves,
            "files": len(report.entries),
            "new": sources(report.new),
            "verified": report.verified,
            "unsure": report.unsure,
            "reread": report.reread,
            "failed": with_notes(report.failed),
            "differing": sources(report.differing),
            "edited": sources(report.edited),
            "changed": sources(report.changed),
            "lost": sources(report.lost),
            "mended": sources(report.mended),
            "unread": with_notes(report.unread),
            "damaged": with_notes(report.damaged),
            "left": with_notes(report.left),
            "gone": sources(report.gone),
            "kept": [
                {"source": spelled(entry.row.source), "why": why.value}
                for entry, why in report.kept
            ],
            "closed": plain(report.closed),
            "litter": report.system_files,
            "drift": plain(report.drift),
            "thrown_away": plain(report.thrown),
            "shoots": plain(report.shoots),
            "too_late": plain(report.too_late),
            "second": _backup(report.backup),
            "failure": error_dict(report.failure),
            "says": last_line(report.evidence),
        }

    def to_pandas(self) -> pd.DataFrame:
        """A line for each file of the card that the shoot knows, under the manifest's columns."""
        return file_table(self.report.entries)


def _backup(backup: BackupReport | None) -> Json:
    if backup is None:
        return None
    return {
        "folder": spelled(str(backup.folder)),
        "files": len(backup.entries),
        "new": sources(backup.new),
        "verified": backup.verified,
        "unsure": backup.unsure,
        "failed": with_notes(backup.failed),
        "differing": sources(backup.differing),
        "edited": sources(backup.edited),
        "changed": sources(backup.changed),
        "lost": sources(backup.lost),
        "failure": error_dict(backup.failure),
    }


class Ingesting:
    """Card, shoot and second copy, open; to be used in a with statement.

    For who asks somebody between looking and carrying: nobody else works in the shoot meanwhile. All else
    is easier by `plan` and `carry`, or `ingest`.
    """

    def __init__(self, request: IngestRequest, watch: Watch | None = None) -> None:
        self._watch = watch or Watch()
        self._open = ExitStack()
        workers = Workers(executor=request.executor)
        self._work = Ingest(request.card, request.shoot, request.options, workers)

    def __enter__(self) -> Self:
        self._open.enter_context(self._work)
        return self

    def __exit__(self, *_: object) -> None:
        self._open.close()

    def inspect(self, *, hold: bool) -> IngestPlan:
        """What is to be done; nothing is changed. hold: nobody else works there until the end."""
        return self._work.inspect(stage_progress(self._watch), hold=hold)

    def carry(self, plan: IngestPlan) -> Ingested:
        """The plan carried out."""
        return Ingested(plan=plan, report=self._work.carry(plan, stage_progress(self._watch)))


def stage_progress(watch: Watch) -> StageProgress:
    """Progress by stage, as an ingest tells it."""
    return StageProgress(
        reading=watch.progress_of(Stage.READING),
        looking=watch.progress_of(Stage.LOOKING),
        comparing=watch.progress_of(Stage.COMPARING),
        carrying=watch.progress_of(Stage.CARRYING),
    )


def plan(
    card: StrPath,
    shoot: StrPath,
    *,
    move: bool = False,
    backup: StrPath | None = None,
    reread: bool = False,
    folder: str | None = None,
    look: bool = False,
    name: str = "",
    corrections: Corrections | None = None,
    settings: StrPath | Settings | None = None,
    clock: Clock = (),
    hand_pause: float | None = None,
    apart: float | None = None,
    unsure_below: float | None = None,
    most_megapixels: int | None = None,
    progress: Progress | None = None,
    cancel: Cancel | None = None,
    executor: Executor | None = None,
) -> IngestPlan:
    """What an ingest of the card into the shoot would do; nothing is changed anywhere.

    The options are those of `sorter ingest`. The plan is a frozen value: it prints, pickles, has
    `to_dict()`, and is what `carry` carries out. Raises as `scan` does, and BadPattern, BadShoot,
    BadBackup, ShootBusy, LedgerDamaged.

    >>> made = plan(card, shoot)
    >>> len(made.waiting), made.would_move
    (13, False)
    """
    request = _request(
        card, shoot,
        move=move, backup=backup, reread=reread, folder=folder, look=look, name=name,
        corrections=corrections, executor=executor,
        grouping=Grouping(
            settings=settings, clock=clock, hand_pause=hand_pause, apart=apart,
            unsure_below=unsure_below, most_megapixels=most_megapixels,
        ),
    )  # fmt: skip
    with Ingesting(request, Watch.of(progress, cancel)) as work:
        return work.inspect(hold=False)


def carry(
    plan: IngestPlan,
    *,
    progress: Progress | None = None,
    cancel: Cancel | None = None,
    executor: Executor | None = None,
) -> Ingested:
    """The plan carried out: every file copied, forced to the disk, read back and compared.

    Card and shoot must be what they were when the plan was made: raises PlanOutdated where they are not,
    and nothing is written. Raises NoRoom, ShootNotWritable, CardGone, Cancelled; then nothing is lost, and
    a new plan goes on. What went wrong in one of two folders stands in the result.

    >>> done = carry(plan(card, shoot))
    >>> done.report.verified, done.exit_code
    (13, 1)
    >>> done.to_dict()["left"]
    [{'source': 'latest.JPG', 'notes': ['a link: not followed', 'left on the card']}]
    """
    watch = Watch.of(progress, cancel)
    with Ingest.of(plan, Workers(executor=executor)) as work:
        return Ingested(plan=plan, report=work.carry(plan, stage_progress(watch)))


def ingest(
    card: StrPath,
    shoot: StrPath,
    *,
    move: bool = False,
    backup: StrPath | None = None,
    reread: bool = False,
    folder: str | None = None,
    look: bool = False,
    name: str = "",
    corrections: Corrections | None = None,
    settings: StrPath | Settings | None = None,
    clock: Clock = (),
    hand_pause: float | None = None,
    apart: float | None = None,
    unsure_below: float | None = None,
    most_megapixels: int | None = None,
    progress: Progress | None = None,
    cancel: Cancel | None = None,
    executor: Executor | None = None,
) -> Ingested:
    """A card carried into a shoot folder, and verified: plans and carries, and nobody else works there.

    The options are those of `sorter ingest`. An ingest that was stopped goes on with the plan that the
    shoot's ledger holds; where that is a move, `move` must say so too: raises NotAgreed else. Raises as
    `plan` and `carry` do.

    >>> ingest(card, shoot).report.verified
    13
    """
    request = _request(
        card, shoot,
        move=move, backup=backup, reread=reread, folder=folder, look=look, name=name,
        corrections=corrections, executor=executor,
        grouping=Grouping(
            settings=settings, clock=clock, hand_pause=hand_pause, apart=apart,
            unsure_below=unsure_below, most_megapixels=most_megapixels,
        ),
    )  # fmt: skip
    with Ingesting(request, Watch.of(progress, cancel)) as work:
        made = work.inspect(hold=True)
        if made.would_move and not move:
            raise NotAgreed(
                "the ingest that was stopped here is a move, which takes files off the card. Say move=True "
                "to go on with it."
            )
        return work.carry(made)


def _request(
    card: StrPath,
    shoot: StrPath,
    *,
    move: bool,
    backup: StrPath | None,
    reread: bool,
    folder: str | None,
    look: bool,
    name: str,
    corrections: Corrections | None,
    executor: Executor | None,
    grouping: Grouping,
) -> IngestRequest:
    options = IngestOptions(
        settings=grouping.loaded(),
        folder=folder_of(folder),
        name=name,
        corrections=corrections_of(corrections),
        moves=move,
        uses_pictures=look,
        backup=optional_path(backup),
        rereads=reread,
    )
    return IngestRequest(card=Path(card), shoot=Path(shoot), options=options, executor=executor)
