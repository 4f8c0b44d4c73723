"""A shoot as a page to look at."""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING

from sorter.api.options import Grouping
from sorter.api.paths import StrPath
from sorter.api.plain import Json, plain
from sorter.api.progress import Cancel, Progress, Stage, Watch
from sorter.pipeline.reporting import Reported
from sorter.pipeline.reporting import report as make_report
from sorter.pipeline.working import Workers, default_jobs
from sorter.settings import Settings

if TYPE_CHECKING:
    from concurrent.futures import Executor


@dataclass(frozen=True, slots=True, kw_only=True)
class ReportRequest:
    """Which shoot is shown. settings, jobs, executor: as a check has them."""

    shoot: Path
    settings: Settings = field(default_factory=Settings)
    jobs: int | None = None
    executor: Executor | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class ReportPage:
    """The page, and what is on it."""

    reported: Reported

    @property
    def page(self) -> Path:
        """Where it is."""
        return self.reported.page

    @property
    def exit_code(self) -> int:
        """0; 1 where some frames have no picture."""
        return int(bool(self.reported.unseen))

    def to_dict(self) -> dict[str, Json]:
        """Where it is, and how much is on it."""
        found = self.reported
        return {
            "form": 1,
            "exit_code": self.exit_code,
            "page": plain(found.page),
            "sequences": found.sequences,
            "merges": found.merges,
            "looks": found.attention_count,
            "unseen": plain(found.unseen),
        }


def report(
    shoot: StrPath,
    *,
    jobs: int | None = None,
    settings: StrPath | Settings | None = None,
    most_megapixels: int | None = None,
    progress: Progress | None = None,
    cancel: Cancel | None = None,
    executor: Executor | None = None,
) -> ReportPage:
    """A page of the shoot with a trial merge of every stack; nothing else in the shoot is changed.

    The options are those of `sorter report`. executor: pictures are decoded, measured and drawn over it. Raises
    BadSettings, NoShoot, ShootBusy, LedgerDamaged, BadShoot, ShootNotWritable, NoRoom, Cancelled.

    >>> done = ingest(card, shoot)
    >>> report(shoot).page.name
    'index.html'
    """
    known = Grouping(settings=settings, most_megapixels=most_megapixels).loaded()
    request = ReportRequest(shoot=Path(shoot), settings=known, jobs=jobs, executor=executor)
    return reported(request, Watch.of(progress, cancel))


def reported(request: ReportRequest, watch: Watch) -> ReportPage:
    """The request answered."""
    found = make_report(
        request.shoot,
        Workers(jobs=request.jobs or default_jobs(), executor=request.executor),
        watch.progress_of(Stage.LOOKING),
        watch.progress_of(Stage.DRAWING),
        request.settings.most_pixels,
    )
    return ReportPage(reported=found)
