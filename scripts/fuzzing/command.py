"""The command: options, processes, progress, and how to repeat what went wrong."""

from __future__ import annotations

import argparse
import time
from collections.abc import Iterator
from concurrent.futures import FIRST_COMPLETED, Future, ProcessPoolExecutor, wait
from dataclasses import dataclass
from itertools import count, islice
from pathlib import Path
from typing import Final

from fuzzing import campaign, checks, seeds
from fuzzing.campaign import PARTS, Case, Cases, Failure, Part, Tally

MOST: Final = 100_000
CHUNK: Final = 5000
"""Cases that a process takes at once."""
MOST_FAILURES: Final = 20
"""Different faults after which there is no point in going on."""
EVERY_S: Final = 5.0
CORPUS: Final = Path("build/corpus")
FAILED: Final = Path("build/fuzz")
DESCRIPTION: Final = """\
Throws damaged files at the reader and looks at what comes out: no exception, bounded work, notes
that are text, facts that can be. Made files of every container and the files of a corpus folder are
(cut) cut at every byte of their first 2 KiB, (flip) changed at each byte that the reader looks at,
(random) damaged at random. --number bounds the cases of all parts together: each part gets the
same share, spread over all files, and what cut and flip have no cases for goes to the others.
A case that fails is written to a file and told with how to repeat it."""
EXAMPLE: Final = """\
examples:
  scripts/fuzz --number 300000 --jobs 2
  scripts/fuzz --part random --endless --seed 7
  scripts/fuzz --seed 7 --case random:1234
  scripts/fuzz --file build/fuzz/random-1234.jpg"""


@dataclass(frozen=True, slots=True)
class Work:
    """A part's cases from a number on."""

    part: Part
    first: int
    amount: int


_cases: list[Cases] = []
"""What a process works on; each process reads the files for itself, once."""


def main(arguments: list[str] | None = None) -> int:
    """Runs what the options ask for; 1 where a case failed."""
    chosen = _parser().parse_args(arguments)
    if chosen.file:
        path: Path = chosen.file
        data = path.read_bytes()
        # The first number asks the library too, the second reads with a small first block.
        return max([_one(Case(f"file:{n}", path.name, data), chosen.out, "") for n in (0, 1)])
    corpus = chosen.corpus if chosen.corpus.is_dir() else None
    _prepare(corpus, chosen.seed)
    again = f"scripts/fuzz --seed {chosen.seed}" + (f" --corpus {corpus}" if corpus else "")
    if chosen.case:
        part, _, number = chosen.case.partition(":")
        return _one(_cases[0].case(part, int(number)), chosen.out, again)
    print(f"seed {chosen.seed}; {_cases[0].files} files; corpus: {corpus or 'none'}", flush=True)
    tally = _run(chosen, corpus)
    _tell(tally, chosen.out, again)
    return 1 if tally.failures else 0


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog="scripts/fuzz",
        description=DESCRIPTION,
        epilog=EXAMPLE,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument("--seed", type=int, default=1, help="the same one gives the same cases")
    parser.add_argument(
        "--number", type=_whole, default=MOST, help=f"most cases of all parts; default {MOST:,}"
    )
    parser.add_argument(
        "--endless", action="store_true", help="no bound: all of a part; random until you stop it"
    )
    parser.add_argument("--part", choices=PARTS, action="append", help="only this; may be repeated")
    parser.add_argument("--corpus", type=Path, default=CORPUS, help=f"folder; default {CORPUS}")
    parser.add_argument("--jobs", type=int, default=1, help="processes")
    parser.add_argument("--out", type=Path, default=FAILED, help=f"failures; default {FAILED}")
    parser.add_argument("--case", metavar="PART:NUMBER", help="only this case")
    parser.add_argument("--file", type=Path, help="only the bytes of this file, as they are")
    return parser


def _whole(text: str) -> int:
    """A number of cases; what is none is told by argparse."""
    if not text.isdecimal():
        raise argparse.ArgumentTypeError(f"{text!r} is no whole number from 0 on")
    return int(text)


def _prepare(corpus: Path | None, seed: int) -> None:
    found = [*seeds.made(), *(seeds.of_folder(corpus) if corpus else ())]
    _cases[:] = [Cases(found, seed)]


def _work(chosen: argparse.Namespace) -> Iterator[Work]:
    """All that is to be done, in pieces."""
    parts = sorted(set(chosen.part or PARTS), key=PARTS.index)
    ends = campaign.shares(_cases[0], parts, chosen.number)
    for part in parts:
        if part == "random" and chosen.endless:
            yield from (Work(part, first, CHUNK) for first in count(0, CHUNK))
        end = _cases[0].count(part) if chosen.endless else ends[part]
        for first in range(0, end, CHUNK):
            yield Work(part, first, min(CHUNK, end - first))


def _done(work: Work) -> Tally:
    return campaign.tried(campaign.turns(_cases[0], work.part, work.first, work.amount))


def _run(chosen: argparse.Namespace, corpus: Path | None) -> Tally:
    """What became of all of it; ends early where too much went wrong, or by Ctrl-C."""
    tally, began = Tally(), time.perf_counter()
    told = began
    try:
        for part in _outcomes(_work(chosen), chosen.jobs, (corpus, chosen.seed)):
            tally.add(part)
            if time.perf_counter() - told > EVERY_S:
                told = time.perf_counter()
                _progress(tally, told - began)
            if len(tally.failures) >= MOST_FAILURES:
                break
    except KeyboardInterrupt:
        print("stopped")
    _progress(tally, time.perf_counter() - began)
    return tally


def _outcomes(work: Iterator[Work], jobs: int, how: tuple[Path | None, int]) -> Iterator[Tally]:
    """One tally after the other, by so many processes; never more work at once than they can do."""
    if jobs < 2:
        yield from map(_done, work)
        return
    with ProcessPoolExecutor(jobs, initializer=_prepare, initargs=how) as pool:
        waiting: set[Future[Tally]] = {pool.submit(_done, one) for one in islice(work, 2 * jobs)}
        while waiting:
            ready, waiting = wait(waiting, return_when=FIRST_COMPLETED)
            waiting |= {pool.submit(_done, one) for one in islice(work, len(ready))}
            yield from (one.result() for one in ready)


def _progress(tally: Tally, seconds: float) -> None:
    slowest, label, name = tally.slowest
    print(
        f"{tally.done:>10,} cases  {tally.done / max(seconds, 1e-9):>7,.0f} a second  "
        f"{len(tally.failures)} faults  slowest {slowest * 1e3:.1f} ms: {label} of {name}",
        flush=True,
    )


def _one(case: Case, out: Path, again: str) -> int:
    """Reads one case, says what it took and what came out of it."""
    runs = [campaign.tried([case]) for _ in range(3)]
    seconds = min(run.slowest[0] for run in runs)
    print(f"{case.label} of {case.name}: {len(case.data)} bytes, {seconds * 1e3:.2f} ms")
    draft = checks.read(checks.Counted(case.data, None), case.name)
    print(f"  {draft.container or 'no container'}; {draft.facts}; {draft.notes}")
    _tell(runs[0], out, again)
    return 1 if runs[0].failures else 0


def _tell(tally: Tally, out: Path, again: str) -> None:
    """Every failure: its fault, where its bytes are, how to repeat it."""
    if again and tally.slowest[1]:
        print(f"the slowest again: {again} --case {tally.slowest[1]}")
    for failure in tally.failures:
        path = _kept(failure, out)
        print(f"FAILED {failure.case.label} of {failure.case.name}: {failure.fault}")
        print(f"  again: scripts/fuzz --file {path}")
        if again:
            print(f"     or: {again} --case {failure.case.label}")


def _kept(failure: Failure, out: Path) -> Path:
    """Where the bytes of the failed case now lie."""
    out.mkdir(parents=True, exist_ok=True)
    ending = Path(failure.case.name).suffix
    path = out / f"{failure.case.label.replace(':', '-')}{ending}"
    path.write_bytes(failure.case.data)
    return path
