"""A shoot read again: is it what it was, and what has its owner moved."""

from __future__ import annotations

from collections.abc import Callable
from contextlib import ExitStack
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Self

from sorter.api.paths import StrPath, optional_path
from sorter.api.plain import Json, error_dict, plain
from sorter.api.progress import Cancel, Progress, Stage, Watch
from sorter.disk.output import check_folder
from sorter.errors import BadChoice
from sorter.manifest.rows import spelled
from sorter.model.advice import last_line
from sorter.pipeline.card_check import CardSide, against_card
from sorter.pipeline.verifying import Verification, Verified
from sorter.writing.verify import Findings

if TYPE_CHECKING:
    from concurrent.futures import Executor

    import pandas as pd

ADDED_OR_EDITED = 1
VERIFICATION_FAILED = 4


@dataclass(frozen=True, slots=True, kw_only=True)
class VerifyRequest:
    """What is asked of a shoot, and of its second copy and its card where they are named."""

    shoot: Path
    backup: Path | None = None
    card: Path | None = None
    mends: bool = False
    adopts: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class VerifiedShoot:
    """What was found. folders: the shoot, and its second copy where one was named. card: that, if named."""

    folders: tuple[Verified, ...]
    card: CardSide | None = None

    @property
    def findings(self) -> Findings:
        """What was found in the shoot itself."""
        return self.folders[0].findings

    @property
    def exit_code(self) -> int:
        """As of the command: 0, 1 or 4; 3 where what one lacks could not be written there."""
        failure = next((each.failure for each in self.folders if each.failure), None)
        every: list[Findings | CardSide] = [each.findings for each in self.folders]
        every += [] if self.card is None else [self.card]
        if failure is not None:
            return failure.exit_code
        if any(each.has_failed for each in every):
            return VERIFICATION_FAILED
        return ADDED_OR_EDITED if any(each.has_remarks for each in every) else 0

    def to_dict(self) -> dict[str, Json]:
        """What was found in each folder, by paths below it; and on the card."""
        return {
            "form": 1,
            "exit_code": self.exit_code,
            "folders": [_folder(each) for each in self.folders],
            "card": None if self.card is None else self._card(self.card),
        }

    def _card(self, card: CardSide) -> dict[str, Json]:
        backup = self.folders[1].findings if len(self.folders) > 1 else None
        return {
            "card": spelled(str(card.root)),
            "files": card.files,
            "equal": plain(sorted(card.equal)),
            "other": plain(card.other),
            "unknown": plain(card.unknown),
            "unread": plain(card.unread),
            "links": plain(card.links),
            "closed": plain(card.closed),
            "thrown_away": plain(card.thrown),
            "shoots": plain(card.shoots),
            "says": last_line(card.evidence(self.findings, backup)),
        }

    def to_pandas(self) -> pd.DataFrame:
        """A line for each file of the shoot that the ledger knows or that was added: place and state."""
        import pandas as pd  # noqa: PLC0415  slow to load, and few calls want a table

        found = self.findings
        moved = {number: entry.row.destination for number, entry in found.moved.items()}
        lines: list[tuple[str, str, int | None]] = [
            (entry.row.destination, "moved" if number in moved else state, entry.row.bytes)
            for state, entries in (
                ("verified", found.sound),
                ("edited", found.worked),
                ("missing", found.lost),
                ("changed", found.altered),
                ("unreadable", {n: entry for n, (entry, _) in found.closed.items()}),
            )
            for number, entry in entries.items()
        ]
        lines += [(path, "added", None) for path in found.added]
        table = pd.DataFrame(lines, columns=["destination", "state", "bytes"])
        return table.astype({"bytes": "Int64"}).sort_values("destination", ignore_index=True)


def _folder(side: Verified) -> dict[str, Json]:
    found = side.findings
    return {
        "folder": spelled(str(side.folder)),
        "verified": found.good,
        "missing": plain(found.missing),
        "changed": plain(found.changed),
        "unreadable": plain(found.unreadable),
        "moved": plain(found.ways),
        "added": plain(found.added),
        "edited": plain(found.edited),
        "hidden": plain(found.hidden),
        "never_carried": plain(found.uncarried),
        "mended": plain(found.mended),
        "unmended": plain(side.unmended),
        "aside": plain(side.aside),
        "failure": error_dict(side.failure),
    }


class Verifying:
    """A shoot and its second copy, open; to be used in a with statement.

    For who asks somebody between looking and adopting. All else is easier by `verify`. Raises BadChoice
    where a second copy is needed and none is named, and what `verify` raises.
    """

    def __init__(self, request: VerifyRequest, watch: Watch | None = None) -> None:
        if request.mends and request.backup is None:
            raise BadChoice("--mend needs --backup: the second copy to mend from.")
        if request.mends and request.backup is not None:
            check_folder(request.backup)
        self._request = request
        self._watch = watch or Watch()
        self._open = ExitStack()
        self._work = Verification(
            request.shoot, request.backup, adopts=request.adopts, mends=request.mends
        )

    def __enter__(self) -> Self:
        self._open.enter_context(self._work)
        return self

    def __exit__(self, *_: object) -> None:
        self._open.close()

    @property
    def to_adopt(self) -> tuple[Verified, ...]:
        """The folders in which something is to be noted again."""
        return self._work.to_adopt if self._request.adopts else ()

    def verified(self, agrees: Callable[[], None] = lambda: None) -> VerifiedShoot:
        """All that was asked, done. agrees: called before anything is noted; it raises where not."""
        request, watch = self._request, self._watch
        both = self._work.inspect(watch.progress_of(Stage.VERIFYING))
        if request.adopts:
            agrees()
            self._work.adopt()
            both = self._work.found
        if request.mends:
            both = self._work.mend(watch.progress_of(Stage.MENDING))
        side = None
        if request.card is not None:
            side = against_card(
                request.card,
                request.shoot,
                request.backup,
                both[0].findings,
                watch.progress_of(Stage.COMPARING),
            )
        return VerifiedShoot(folders=both, card=side)


def verify(
    shoot: StrPath,
    *,
    backup: StrPath | None = None,
    mend: bool = False,
    card: StrPath | None = None,
    adopt: bool = False,
    progress: Progress | None = None,
    cancel: Cancel | None = None,
    executor: Executor | None = None,
) -> VerifiedShoot:
    """The shoot read again, every file held against its digest; nothing is changed.

    The options are those of `sorter verify`: backup, the second copy, read too; mend, what one of the two
    lacks comes from the other; card, read and compared; adopt, what its owner moved is noted where it lies.
    Raises NoShoot, ShootBusy, LedgerDamaged, BadBackup, BadChoice, Cancelled.

    >>> done = ingest(card, shoot)
    >>> found = verify(shoot)
    >>> found.findings.good, found.findings.missing
    (13, [])
    >>> found.to_pandas()["state"].unique().tolist()
    ['verified']
    """
    del executor
    request = VerifyRequest(
        shoot=Path(shoot),
        backup=optional_path(backup),
        card=optional_path(card),
        mends=mend,
        adopts=adopt,
    )
    with Verifying(request, Watch.of(progress, cancel)) as work:
        return work.verified()
