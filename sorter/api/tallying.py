"""What shoots hold: a season in numbers."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from sorter.api.paths import StrPath, optional_path
from sorter.api.plain import Json, plain_dict
from sorter.api.progress import Cancel, Progress, Stage, Watch
from sorter.manifest.tallies import tally_dict
from sorter.model.tally import Tally
from sorter.pipeline.tallying import check_apart_from_shoots, write_tally
from sorter.pipeline.tallying import tally as tally_shoots

if TYPE_CHECKING:
    from concurrent.futures import Executor

    import pandas as pd

_TABLES = {
    "kind": "kinds",
    "lens": "lenses",
    "f_number": "f_numbers",
    "hour": "hours",
    "day": "days",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class TallyRequest:
    """Which shoots are counted. csv: a file for the figures; None for none."""

    shoots: tuple[Path, ...]
    csv: Path | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Tallied:
    """What the shoots come to, each for itself and together."""

    tally: Tally

    def to_dict(self) -> dict[str, Json]:
        """What `sorter tally --json` prints, as plain values."""
        return plain_dict(tally_dict(self.tally))

    def to_pandas(self) -> pd.DataFrame:
        """A line for each group of each shoot: shoot, table, key, and the counts; all shoots as ``."""
        import pandas as pd  # noqa: PLC0415  slow to load, and few calls want a table

        lines = [
            {
                "shoot": tables.shoot,
                "table": table,
                "key": group.key or None,
                "first": group.first or None,
                "last": group.last or None,
                **asdict(group.counts),
            }
            for tables in (*self.tally.shoots, self.tally.together)
            for table, groups in (
                ("total", (tables.total,)),
                *((table, getattr(tables, name)) for table, name in _TABLES.items()),
            )
            for group in groups
        ]
        return pd.DataFrame(lines)


def tally(
    *shoots: StrPath,
    csv: StrPath | None = None,
    progress: Progress | None = None,
    cancel: Cancel | None = None,
    executor: Executor | None = None,
) -> Tallied:
    """Sequences, frames, results and space of shoots, by kind, lens, aperture, hour and day.

    The option is that of `sorter tally`. Only the ledgers are read. Raises NoShoot, ShootBusy,
    LedgerDamaged, OutputNotWritable, Cancelled.

    >>> done = ingest(card, shoot)
    >>> tally(shoot).tally.together.total.counts.frames
    6
    """
    del executor
    watch = Watch.of(progress, cancel)
    return tallied(TallyRequest(shoots=tuple(map(Path, shoots)), csv=optional_path(csv)), watch)


def tallied(request: TallyRequest, watch: Watch) -> Tallied:
    """The request answered."""
    if request.csv is not None:
        check_apart_from_shoots(request.csv, request.shoots)
    outcome = tally_shoots(request.shoots, watch.progress_of(Stage.COUNTING))
    if request.csv is not None:
        write_tally(request.csv, outcome)
    return Tallied(tally=outcome)
