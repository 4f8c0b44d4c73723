"""What was done to a shoot last, taken back."""

from __future__ import annotations

from contextlib import ExitStack
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Self

from sorter.api.paths import StrPath, optional_path
from sorter.api.plain import Json, plain
from sorter.api.progress import Cancel, Progress, Stage, Watch
from sorter.model.operation import OperationKind
from sorter.model.plan import Entry
from sorter.pipeline.undoing import Undo
from sorter.writing.undo import Undone

if TYPE_CHECKING:
    from concurrent.futures import Executor

SOME_STAY = 1
VERIFICATION_FAILED = 4


@dataclass(frozen=True, slots=True, kw_only=True)
class UndoRequest:
    """What is asked. card: where it is now; None for where it was. without_card: also only copies go."""

    shoot: Path
    card: Path | None = None
    without_card: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class TakenBack:
    """What was taken back, and what became of the files. card: where moved ones went back to."""

    what: OperationKind
    card: Path
    undone: Undone

    @property
    def exit_code(self) -> int:
        """As of the command: 0; 1 where some files stay; 4 where moved files are in neither place."""
        if self.undone.lost:
            return VERIFICATION_FAILED
        return SOME_STAY if self.undone.stay else 0

    def to_dict(self) -> dict[str, Json]:
        """How many files were taken back, and which stay or are lost, by their paths in the shoot."""
        undone = self.undone
        return {
            "form": 1,
            "exit_code": self.exit_code,
            "operation": self.what.value,
            "card": plain(self.card),
            "removed": undone.removed,
            "returned": undone.returned,
            "moved_within": undone.moved_within,
            "given_up": undone.given_up,
            "stay": plain(undone.stay),
            "lost": plain(undone.lost),
        }


class UndoSession:
    """A shoot whose newest operation is to be taken back; to be used in a with statement.

    For who asks somebody before anything is done. All else is easier by `undo`.
    """

    def __init__(self, request: UndoRequest, watch: Watch | None = None) -> None:
        self._request = request
        self._watch = watch or Watch()
        self._open = ExitStack()
        self._work = Undo(request.shoot, request.card)

    def __enter__(self) -> Self:
        self._open.enter_context(self._work)
        return self

    def __exit__(self, *_: object) -> None:
        self._open.close()

    @property
    def what(self) -> OperationKind:
        """What was done last."""
        return self._work.operation.what

    @property
    def moves(self) -> bool:
        """Whether it is a move, so that files go back to the card."""
        return self._work.run.moves

    @property
    def card(self) -> Path:
        """Where the card is that an ingest came from."""
        return self._work.card

    @property
    def came_from(self) -> str:
        """Where the card was then."""
        return self._work.run.card

    @property
    def here(self) -> tuple[Entry, ...]:
        """Those of the files that are in the shoot."""
        return self._work.here

    def inspect(self) -> None:
        """Returns where every copy has its original on the card. Raises OnlyCopies, NoCard, CardGone."""
        if not self._request.without_card:
            self._work.check_originals(self._watch.progress_of(Stage.COMPARING))

    def carry(self) -> TakenBack:
        """It is taken back."""
        is_files = self.what is not OperationKind.INGEST
        report = self._watch.progress_of(Stage.MOVING if is_files else Stage.UNDOING)
        return TakenBack(what=self.what, card=self.card, undone=self._work.carry(report))


def undo(
    shoot: StrPath,
    *,
    card: StrPath | None = None,
    without_card: bool = False,
    progress: Progress | None = None,
    cancel: Cancel | None = None,
    executor: Executor | None = None,
) -> TakenBack:
    """What was done to the shoot last taken back: an ingest, a regrouping or an adoption.

    The options are those of `sorter undo`; nobody is asked: whoever calls it has decided. Of an ingest
    unchanged copies are removed and moved files go back to the card; what was changed since stays. Raises
    NoShoot, NothingToUndo, NoCard, OnlyCopies, CardNotFound, CardNotReadable, ShootBusy, LedgerDamaged;
    ShootNotWritable, CardNotWritable, NoRoom, CardGone and Cancelled: then the same call goes on.

    >>> done = ingest(card, shoot)
    >>> undo(shoot).to_dict()["removed"]
    13
    """
    del executor
    request = UndoRequest(shoot=Path(shoot), card=optional_path(card), without_card=without_card)
    with UndoSession(request, Watch.of(progress, cancel)) as work:
        work.inspect()
        return work.carry()
