"""The command: which manifests against which truths, and the tables that come out."""

from __future__ import annotations

import argparse
import json
import sys
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import asdict
from pathlib import Path

from scoring.measure import Counts, Failure, Score, total
from scoring.tables import NoTable, Place, places, read, wanted

DESCRIPTION = """\
Holds manifests of `sorter scan` against truth tables, by the paths of the files: boundaries (a frame
that begins a sequence; the first frame of each body counts on neither side), kinds (those that the
files can tell, where the truth has kind_by_tags), and sequences of more than one frame that were
found whole. What the truth marks as undecidable is left out of the tables and counted apart."""
EXAMPLE = """\
examples:
  .venv/bin/python scripts/score --cards build/cards
      scans every card of the folder that scripts/make_cards wrote
  .venv/bin/python scripts/score manifest.csv demo/card-truth.csv
  .venv/bin/python scripts/score --cards build/cards --json > score.json

Exit codes: 0; 1 where a manifest lacks frames of its truth; 2 wrong usage."""
HEAD = (
    "cards",
    "frames",
    "seqs",
    "precision",
    "recall",
    "F1",
    "kind/frames",
    "kind/seqs",
    "series",
    "whole",
    "whole+kind",
)


def main(arguments: Sequence[str] | None = None) -> int:
    """Runs the command."""
    parser = _parser()
    options = parser.parse_args(arguments)
    if bool(options.cards) == bool(options.tables) or len(options.tables) % 2:
        parser.error("name pairs of MANIFEST and TRUTH, or a folder by --cards")
    score = Score()
    try:
        for card, found, truth in _pairs(options):
            score.take(card, wanted(truth), found)
    except (NoTable, OSError) as error:
        parser.error(str(error))
    shown = as_json(score) if options.json else "\n".join(as_text(score, options.list))
    sys.stdout.write(shown + "\n")
    return 1 if score.lacking else 0


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog="score",
        usage="score [--json] [--list N] (MANIFEST TRUTH [MANIFEST TRUTH ...] | --cards FOLDER)",
        description=DESCRIPTION,
        epilog=EXAMPLE,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument("tables", metavar="MANIFEST TRUTH", nargs="*", type=Path, help="pairs")
    about = "every NAME in it with NAME-truth.csv beside it is scanned with the defaults"
    parser.add_argument("--cards", metavar="FOLDER", type=Path, help=about)
    parser.add_argument("--json", action="store_true", help="one JSON document with all of it")
    about = "lines about what failed, at most; default 40"
    parser.add_argument("--list", metavar="N", type=int, default=40, help=about)
    return parser


def _pairs(
    options: argparse.Namespace,
) -> Iterator[tuple[str, Mapping[str, Place], Sequence[Mapping[str, str]]]]:
    """Each card's name, its places as found, and the rows of its truth."""
    if options.cards:
        for table in _truths(options.cards):
            card = table.with_name(table.name.removesuffix("-truth.csv"))
            yield card.name, scanned(card), read(table)
        return
    tables: Sequence[Path] = options.tables
    for manifest, table in zip(tables[::2], tables[1::2], strict=True):
        yield table.name.removesuffix("-truth.csv"), places(read(manifest)), read(table)


def _truths(folder: Path) -> list[Path]:
    found = sorted(folder.glob("*-truth.csv"), key=lambda path: (len(path.name), path.name))
    if not found:
        raise NoTable(f"{folder} holds no *-truth.csv: make cards by scripts/make_cards {folder}")
    return found


def scanned(card: Path) -> dict[str, Place]:
    """What the sorter finds on the card with its defaults, in this process."""
    from sorter import pipeline  # noqa: PLC0415  a comparison of manifests needs none of it
    from sorter.manifest.rows import make_rows  # noqa: PLC0415
    from sorter.settings import Settings  # noqa: PLC0415

    rows = make_rows(pipeline.scan(card, Settings(), lambda _done, _of: None))
    return {
        row.source: Place(
            sequence="" if row.sequence is None else str(row.sequence),
            position=row.position or 0,
            kind=row.kind.value,
            role=row.role.value,
        )
        for row in rows
    }


# ---- shown ----------------------------------------------------------------------------------


def as_json(score: Score) -> str:
    """The score as one JSON document."""
    parts = {
        name: {key: counts.figures() for key, counts in sorted(many.items())}
        for name, many in (
            ("bodies", score.bodies),
            ("bodies_with_undecidable", score.bodies_all),
            ("kinds", score.kinds),
            ("kinds_with_undecidable", score.kinds_all),
        )
    }
    document: dict[str, object] = {
        "all": total(score.bodies.values()).figures(),
        "all_with_undecidable": total(score.bodies_all.values()).figures(),
        **parts,
        "failures": [asdict(failure) for failure in score.failures],
        "lacking": score.lacking,
    }
    return json.dumps(document, indent=2)


def as_text(score: Score, most: int) -> Iterator[str]:
    """The tables and at most so many lines about what failed."""
    everything = {
        "all": total(score.bodies.values()),
        "with undecidable": total(score.bodies_all.values()),
    }
    yield from _table("by body", {**dict(sorted(score.bodies.items())), **everything})
    yield ""
    yield from _table("by kind", dict(sorted(score.kinds.items())))
    yield from _failed(score.failures, most)
    if score.lacking:
        yield ""
        yield f"the manifest lacks {len(score.lacking)} files of the truth, first {score.lacking[0]}"


def _table(title: str, rows: Mapping[str, Counts]) -> Iterator[str]:
    lines = [(title, *HEAD), *((name, *_cells(counts)) for name, counts in rows.items())]
    widths = [max(len(line[column]) for line in lines) for column in range(len(lines[0]))]
    for line in lines:
        first, *rest = (cell.rjust(width) for cell, width in zip(line, widths, strict=True))
        yield "  ".join((line[0].ljust(len(first)), *rest))


def _cells(counts: Counts) -> tuple[str, ...]:
    figures = counts.figures()
    names = ("precision", "recall", "f1", "frames_of_kind_share", "sequences_of_kind_share")
    return (
        str(counts.cards or ""),
        str(counts.frames),
        str(counts.sequences),
        *(f"{figures[name]:.4f}" for name in names),
        str(counts.series),
        f"{figures['whole_share']:.4f}",
        f"{figures['whole_of_kind_share']:.4f}",
    )


def _failed(failures: Sequence[Failure], most: int) -> Iterator[str]:
    real = [failure for failure in failures if failure.decidable]
    others = len(failures) - len(real)
    yield ""
    yield f"not found as they are: {len(real)} sequences, and {others} that nobody could decide"
    for one in real[: max(0, most)]:
        yield (
            f"  {one.card} sequence {one.sequence} ({one.body}): {one.kind} of {one.frames}"
            f" [{one.about}]: found {one.found}"
        )
    if len(real) > most:
        yield f"  ... and {len(real) - most} more: see --list and --json"
