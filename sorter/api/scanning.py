"""What is on a card."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from sorter.api.options import Clock, Corrections, Grouping, corrections_of
from sorter.api.paths import StrPath, optional_path
from sorter.api.plain import Json, plain_dict
from sorter.api.progress import Cancel, Progress, Stage, Watch
from sorter.api.tables import row_table
from sorter.disk.output import Output, check_target
from sorter.manifest.document import account_dict
from sorter.manifest.rows import make_rows
from sorter.model.correction import Correction
from sorter.model.frame import ReadFile
from sorter.model.sequence import Account
from sorter.pipeline.scanning import (
    check_apart,
    unread_files,
    write_manifest,
)
from sorter.pipeline.scanning import (
    scan as scan_card,
)
from sorter.pipeline.scanning import (
    write_corrections as write_as_corrections,
)
from sorter.settings import Settings

if TYPE_CHECKING:
    from concurrent.futures import Executor

    import pandas as pd


@dataclass(frozen=True, slots=True, kw_only=True)
class ScanRequest:
    """What is asked of a card. manifest, write_corrections: files to write; None for none.

    read: the file that the corrections came from, which neither of these may be.
    """

    card: Path
    settings: Settings
    corrections: tuple[Correction, ...] = ()
    read: Path | None = None
    manifest: Path | None = None
    write_corrections: Path | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Scanned:
    """What is on a card. unread: files that could not be read.

    manifest_rows, corrections_rows: how many rows were written; None where nothing was asked for.
    corrections_new: whether the corrections were written now, and did not stand there just so.
    """

    card: Path
    account: Account
    unread: tuple[ReadFile, ...] = ()
    manifest_rows: int | None = None
    corrections_rows: int | None = None
    corrections_new: bool = False

    @property
    def exit_code(self) -> int:
        """As of the command: 1 where some files could not be read, or folders not listed."""
        return int(bool(self.unread or self.account.folders_closed))

    def to_dict(self) -> dict[str, Json]:
        """What `sorter scan --json` prints, as plain values."""
        return plain_dict(account_dict(self.account, card=str(self.card)))

    def to_pandas(self) -> pd.DataFrame:
        """A line for each file of the card, under the manifest's columns."""
        return row_table(make_rows(self.account))


def scan(
    card: StrPath,
    *,
    settings: StrPath | Settings | None = None,
    clock: Clock = (),
    hand_pause: float | None = None,
    apart: float | None = None,
    unsure_below: float | None = None,
    corrections: Corrections | None = None,
    manifest: StrPath | None = None,
    write_corrections: StrPath | None = None,
    progress: Progress | None = None,
    cancel: Cancel | None = None,
    executor: Executor | None = None,
) -> Scanned:
    """The sequences of a card, and why; the card is only read.

    card: its root, its DCIM, or any folder of pictures. The options are those of `sorter scan`; times in
    seconds. executor: taken as everywhere; reading a card needs none. Raises CardNotFound,
    CardNotReadable, CardEmpty, CardIsShoot, BadSettings, BadCorrections, OutputNotWritable, Cancelled.

    >>> found = scan(card)
    >>> [(each.kind.value, len(each.frames)) for each in found.account.sequences]
    [('burst', 4), ('single', 1), ('single', 1)]
    >>> found.to_dict()["frames"]
    6
    """
    del executor
    watch = Watch.of(progress, cancel)
    grouping = Grouping(
        settings=settings,
        clock=clock,
        hand_pause=hand_pause,
        apart=apart,
        unsure_below=unsure_below,
    )
    request = ScanRequest(
        card=Path(card),
        settings=grouping.loaded(),
        corrections=corrections_of(corrections),
        read=Path(corrections) if isinstance(corrections, str | Path) else None,
        manifest=optional_path(manifest),
        write_corrections=optional_path(write_corrections),
    )
    return scanned(request, watch)


def scanned(request: ScanRequest, watch: Watch) -> Scanned:
    """The request answered. The corrections are written first: they may be refused, and then nothing is."""
    _check_targets(request)
    account = scan_card(
        request.card, request.settings, watch.progress_of(Stage.READING), request.corrections
    )
    written: tuple[int | None, bool] = (None, False)
    if request.write_corrections is not None:
        written = write_as_corrections(request.write_corrections, account)
    rows = None
    if request.manifest is not None:
        rows = write_manifest(request.manifest, account)
    return Scanned(
        card=request.card,
        account=account,
        unread=unread_files(account),
        manifest_rows=rows,
        corrections_rows=written[0],
        corrections_new=written[1],
    )


def _check_targets(request: ScanRequest) -> None:
    """Returns where all that was asked for may be written; nothing is written to find out."""
    manifest, written = request.manifest, request.write_corrections
    for corrections in filter(None, (request.read, written)):
        if manifest is not None:
            check_apart(manifest, corrections)
    if manifest is not None:
        check_target(manifest, output=Output.MANIFEST, card=request.card)
    if written is not None:
        check_target(written, card=request.card)
