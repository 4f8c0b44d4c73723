"""What the pictures say; and a shoot grouped so."""

from __future__ import annotations

import os
from collections.abc import Iterable
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING

from sorter.api.options import Clock, Corrections, Grouping, corrections_of, folder_of
from sorter.api.paths import StrPath, optional_path
from sorter.api.plain import Json, plain, plain_dict
from sorter.api.progress import Cancel, Progress, Stage, Watch
from sorter.errors import BadChoice
from sorter.manifest.checks import checks_dict
from sorter.model.change import Regrouping
from sorter.model.correction import Correction
from sorter.model.finding import CHECK_COLUMNS, Check
from sorter.model.subject import Checked
from sorter.pipeline.applying import apply as apply_to
from sorter.pipeline.applying import end_regrouping
from sorter.pipeline.checking import check_card, check_shoot, is_shoot
from sorter.pipeline.checks_files import check_outputs, write_checks, write_suggested, write_table
from sorter.pipeline.regrouping import Regrouped, regroupings_of
from sorter.pipeline.regrouping import regroup as regroup_shoot
from sorter.pipeline.working import Workers, default_jobs
from sorter.settings import Settings
from sorter.writing.records import entries_of

if TYPE_CHECKING:
    from concurrent.futures import Executor

    import pandas as pd

FINISHED_WITHOUT_SOME = 1


@dataclass(frozen=True, slots=True, kw_only=True)
class CheckRequest:
    """What is asked of a shoot or a card. csv, write_corrections: files to write; None for none.

    apply: the shoot is grouped as the pictures say, and as the corrections do. jobs: how many pictures are
    decoded at a time. executor: who decodes them; None for threads of our own.
    """

    root: Path
    settings: Settings = field(default_factory=Settings)
    csv: Path | None = None
    write_corrections: Path | None = None
    apply: bool = False
    corrections: tuple[Correction, ...] = ()
    folder: str | None = None
    jobs: int | None = None
    executor: Executor | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class CheckedPictures:
    """What the pictures say. regrouped: what became of the shoot, where it was grouped so; else None."""

    root: Path
    found: Checked
    regrouped: Regrouped | None = None

    @property
    def checks(self) -> tuple[Check, ...]:
        """The findings, one for each sequence of two or more frames."""
        return self.found.checks

    @property
    def exit_code(self) -> int:
        """As of the command: 1 where pictures could not be looked at, or files not follow."""
        lacks = any(each.unseen for each in self.found.checks)
        return int(lacks or bool(self.regrouped and self.regrouped.left))

    def to_dict(self) -> dict[str, Json]:
        """What `sorter check --json` prints, as plain values."""
        return plain_dict(checks_dict(self.found.checks, self.found.suggested, root=str(self.root)))

    def to_pandas(self) -> pd.DataFrame:
        """A line for each finding, under the columns of checks.csv; positions are tuples."""
        import pandas as pd  # noqa: PLC0415  slow to load, and few calls want a table

        lines = [[_outcome(each, name) for name in CHECK_COLUMNS] for each in self.found.checks]
        return pd.DataFrame(lines, columns=list(CHECK_COLUMNS))


def _outcome(check: Check, name: str) -> object:
    value = getattr(check, name)
    return (
        str(value) if name in ("kind", "verdict", "missing_end", "looks_like") and value else value
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class RegroupedShoot:
    """What became of a shoot that was grouped otherwise."""

    shoot: Path
    regrouped: Regrouped

    @property
    def exit_code(self) -> int:
        """0; 1 where files were not where the ledger has them."""
        return int(bool(self.regrouped.left))

    def to_dict(self) -> dict[str, Json]:
        """The numbers of the sequences that changed, and how many files moved."""
        found = self.regrouped
        return {
            "form": 1,
            "exit_code": self.exit_code,
            "shoot": plain(self.shoot),
            "sequences": plain(found.sequences),
            "moved": found.moved,
            "left": plain(found.left),
            "behind": plain(found.behind),
            "ended": found.ended,
        }


def check(
    root: StrPath,
    *,
    csv: StrPath | None = None,
    write_corrections: StrPath | None = None,
    apply: bool = False,
    corrections: Corrections | None = None,
    folder: str | None = None,
    jobs: int | None = None,
    settings: StrPath | Settings | None = None,
    clock: Clock = (),
    hand_pause: float | None = None,
    apart: float | None = None,
    unsure_below: float | None = None,
    most_megapixels: int | None = None,
    progress: Progress | None = None,
    cancel: Cancel | None = None,
    executor: Executor | None = None,
) -> CheckedPictures:
    """What the pictures of a shoot or a card say: which stacks are worth merging, and which frames.

    The options are those of `sorter check`. A shoot gets checks.csv and notes in its manifest; a card is
    only read. executor: pictures are decoded and measured over it, threads or processes. Raises what `scan`
    raises of a card; NoShoot, ShootBusy, LedgerDamaged, ShootNotWritable, NoRoom, BadChoice, Cancelled.

    >>> done = ingest(card, shoot)
    >>> [(each.kind.value, each.frames) for each in check(shoot).checks]
    [('burst', 4)]
    """
    if not apply and (corrections is not None or folder is not None):
        option = "--corrections" if corrections is not None else "--folder"
        raise BadChoice(f"{option} goes with --apply.")
    grouping = Grouping(
        settings=settings,
        clock=clock,
        hand_pause=hand_pause,
        apart=apart,
        unsure_below=unsure_below,
        most_megapixels=most_megapixels,
    )
    request = CheckRequest(
        root=Path(root),
        settings=grouping.loaded(),
        csv=optional_path(csv),
        write_corrections=optional_path(write_corrections),
        apply=apply,
        corrections=corrections_of(corrections),
        folder=folder,
        jobs=jobs,
        executor=executor,
    )
    return checked(request, Watch.of(progress, cancel))


def checked(request: CheckRequest, watch: Watch) -> CheckedPictures:
    """The request answered. Raises BadChoice where its options do not go together."""
    _refuse(request)
    check_outputs(request.root, request.csv, request.write_corrections)
    regrouped = None
    if request.apply:
        end_regrouping(request.root, watch.progress_of(Stage.ENDING))
    found = _checked(request, watch)
    if request.apply:
        moving = watch.progress_of(Stage.MOVING)
        regrouped = apply_to(
            request.root,
            found.regroupings,
            request.corrections,
            moving,
            folder=folder_of(request.folder),
        )
        found = _checked(request, watch) if regrouped.is_anything else found
    _write(request, found)
    return CheckedPictures(root=request.root, found=found, regrouped=regrouped)


def _refuse(request: CheckRequest) -> None:
    if request.apply and not is_shoot(request.root):
        raise BadChoice(
            f"--apply: {request.root} is no shoot. On a card nothing is changed: give --look to `sorter "
            "ingest`."
        )


def _checked(request: CheckRequest, watch: Watch) -> Checked:
    workers = Workers(jobs=request.jobs or default_jobs(), executor=request.executor)
    looking = watch.progress_of(Stage.LOOKING)
    if is_shoot(request.root):
        return check_shoot(request.root, workers, looking, request.settings.most_pixels)
    return check_card(
        request.root, request.settings, workers, watch.progress_of(Stage.READING), looking
    )


def _write(request: CheckRequest, found: Checked) -> None:
    """What was found stands on the disk. The corrections come first: they may be refused."""
    if request.write_corrections is not None:
        write_suggested(request.write_corrections, found)
    if is_shoot(request.root):
        write_checks(request.root, found)
    if request.csv is not None:
        write_table(request.csv, found)


def regroup(
    shoot: StrPath,
    corrections: Corrections | Iterable[Regrouping],
    *,
    folder: str | None = None,
    name: str = "",
    progress: Progress | None = None,
    cancel: Cancel | None = None,
    executor: Executor | None = None,
) -> RegroupedShoot:
    """The shoot grouped as these corrections say; `undo` takes it back.

    corrections: a file, its rows, or regroupings by the frames' numbers in the manifest. folder, name: as
    `ingest` has them. Files move within the shoot only. Raises NoShoot, ShootBusy, LedgerDamaged, BadShoot,
    BadCorrections, BadChoice, BadPattern; ShootNotWritable, NoRoom, Cancelled: then the same call goes on.

    >>> done = ingest(card, shoot)
    >>> said = Correction(
    ...     first="DCIM/100TIDES/IMG_0001.JPG", last="DCIM/100TIDES/IMG_0004.JPG", kind="manual-stack"
    ... )
    >>> regroup(shoot, [said]).to_dict()["sequences"]
    [1]
    """
    del executor
    watch, root = Watch.of(progress, cancel), Path(shoot)
    regroupings, stated = _parted(corrections)
    moving, pattern = watch.progress_of(Stage.MOVING), folder_of(folder)
    wished = (*regroupings, *regroupings_of(entries_of(root), stated))
    found = regroup_shoot(root, wished, moving, folder=pattern, name=name)
    return RegroupedShoot(shoot=root, regrouped=found)


def _parted(
    given: Corrections | Iterable[Regrouping],
) -> tuple[tuple[Regrouping, ...], tuple[Correction, ...]]:
    """Regroupings, and corrections."""
    if isinstance(given, str | os.PathLike):
        return (), corrections_of(given)
    many = tuple(given)
    stated = [each for each in many if isinstance(each, Correction)]
    return tuple(each for each in many if isinstance(each, Regrouping)), corrections_of(stated)
