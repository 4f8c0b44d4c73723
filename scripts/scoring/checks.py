"""What checks find in stacks of real textures, drawn from dice: false alarms, and faults that are found."""

from __future__ import annotations

import argparse
import os
import sys
from collections import Counter
from collections.abc import Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from multiprocessing import get_context
from typing import Final

from scoring.stacks import FOLDER, Fault, taken
from sorter.checking.series import judge
from sorter.model.finding import End, Verdict
from sorter.model.kinds import STACK_KINDS, Kind

DESCRIPTION: Final = """\
Draws focus stacks of real textures (scikit-image's sample pictures, out of build/corpus) from dice: several
kinds of depth, by hand and from a tripod, breathing, noise, uneven steps, small and large; sound ones, and
the same with one fault each. Prints how many sound ones raise an alarm, and how many faults are found."""
EXAMPLE: Final = """\
examples:
  .venv/bin/python scripts/score_checks
      300 sound stacks and 60 of each fault, of seeds that no rule was chosen on
  .venv/bin/python scripts/score_checks --seed 50000 --number 600 --list
      others, twice as many, and each miss by its seed

Exit codes: 0; 2 wrong usage, or no corpus (scripts/fetch_corpus brings it)."""
FIRST_SEED: Final = 20_000
"""Rules were chosen on seeds below 10,000."""
NUMBER: Final = 300
OF_EACH: Final = 5
"""Sound stacks for one of each fault."""
AROUND: Final = 1
LEAST_SURPLUS: Final = 0.02


@dataclass(frozen=True, slots=True, kw_only=True)
class Outcome:
    """What became of a stack. alarms: what is said of it and is not so. found: whether its fault is."""

    seed: int
    fault: Fault
    alarms: tuple[str, ...]
    found: bool
    is_unjudged: bool
    is_stack_by_picture: bool


def outcome(task: tuple[Fault, int]) -> Outcome:
    """The stack of this fault and seed, made and checked."""
    fault, seed = task
    stack = taken(seed, fault)
    kind = Kind.MANUAL_STACK if stack.recipe.by_hand else Kind.FOCUS_BRACKET
    judged = judge(stack.measured, sequence=1, kind=kind)
    check = judged.check
    shares = judged.wander.sharp.argmax(1).tolist() if len(judged.wander.sharp) else []
    owned = Counter(shares)
    used = [index for index, use in enumerate(judged.use) if use]
    wanted = {index + 1 for index in stack.at}

    def near(positions: Sequence[int]) -> bool:
        return any(abs(one - two) <= AROUND for one in positions for two in wanted)

    false = {
        "end": check.missing_end is not None and fault is not Fault.SHORT,
        "gap": any(
            fault is not Fault.GAP or all(abs(gap - one) > AROUND for one in wanted)
            for gap in check.gaps
        ),
        "moved": any(
            fault not in (Fault.MOVER, Fault.SWAYING) or not near([position])
            for position in check.moved
        ),
        "surplus": any(
            owned[used.index(position - 1)] > LEAST_SURPLUS * len(shares)
            for position in check.surplus
        ),
        "jump": bool(check.jumps),
        "odd": bool(check.odd) or (bool(check.dark) and fault is not Fault.DARK),
        "no stack": check.looks_like is not None,
    }
    found = {
        Fault.SHORT: check.missing_end in (End.LAST, End.BOTH),
        Fault.GAP: near(check.gaps),
        Fault.MOVER: near(check.moved),
        Fault.SWAYING: near(check.moved),
        Fault.DARK: set(check.dark) == wanted and not check.gaps,
        Fault.LOST: not check.gaps,
        Fault.BURST: check.looks_like is Kind.BURST or check.verdict is Verdict.UNJUDGED,
        Fault.SOUND: True,
    }
    as_burst = judge(stack.measured, sequence=1, kind=Kind.BURST).check.looks_like
    return Outcome(
        seed=seed,
        fault=fault,
        alarms=()
        if fault is Fault.BURST
        else tuple(name for name, is_so in false.items() if is_so),
        found=found[fault],
        is_unjudged=check.verdict is Verdict.UNJUDGED,
        is_stack_by_picture=as_burst in STACK_KINDS,
    )


def outcomes(tasks: Sequence[tuple[Fault, int]], jobs: int) -> Iterator[Outcome]:
    """What becomes of each, in as many processes."""
    os.environ["OPENBLAS_NUM_THREADS"] = "1"  # there is a process for each processor already
    with ProcessPoolExecutor(jobs, get_context("spawn")) as helpers:
        yield from helpers.map(outcome, tasks, chunksize=4)


def main(arguments: Sequence[str] | None = None) -> int:
    """Runs the command."""
    parser = argparse.ArgumentParser(
        description=DESCRIPTION,
        epilog=EXAMPLE,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument("--seed", type=int, default=FIRST_SEED, help="the first one (%(default)s)")
    parser.add_argument("--number", type=int, default=NUMBER, help="sound stacks (%(default)s)")
    parser.add_argument("--jobs", type=int, default=os.cpu_count() or 1, help="processes")
    parser.add_argument("--list", action="store_true", help="name the seed of each miss")
    options = parser.parse_args(arguments)
    if not FOLDER.is_dir():
        parser.error(f"{FOLDER} is missing: run scripts/fetch_corpus")
    found = list(outcomes(_tasks(options.seed, options.number), options.jobs))
    sys.stdout.write("\n".join((*_table(found), *(_misses(found) if options.list else ()))) + "\n")
    return 0


def _tasks(seed: int, number: int) -> list[tuple[Fault, int]]:
    tasks = [(Fault.SOUND, seed + index) for index in range(number)]
    for place, fault in enumerate(each for each in Fault if each is not Fault.SOUND):
        first = seed + number + place * number
        tasks += [(fault, first + index) for index in range(max(1, number // OF_EACH))]
    return tasks


BARRED: Final = frozenset({"end", "gap", "moved", "surplus"})


def _table(found: Sequence[Outcome]) -> Iterator[str]:
    yield "stacks     number  found  unjudged  with an alarm  what"
    for fault in Fault:
        own = [each for each in found if each.fault is fault]
        alarms = Counter(name for each in own for name in each.alarms)
        what = ", ".join(f"{name} {count}" for name, count in alarms.most_common())
        yield (
            f"{fault:9}  {len(own):6}  {_share(sum(each.found for each in own), len(own))}"
            f"  {sum(each.is_unjudged for each in own):8}"
            f"  {_share(sum(bool(each.alarms) for each in own), len(own)):>13}  {what}".rstrip()
        )
    sound = [each for each in found if each.fault is Fault.SOUND]
    barred = sum(bool(BARRED & set(each.alarms)) for each in sound)
    yield f"sound stacks with an end, a gap, movement or surplus: {_share(barred, len(sound)).strip()}"
    hidden = sum(each.is_stack_by_picture for each in sound)
    yield f"sound stacks known as stacks where the camera hid it: {_share(hidden, len(sound)).strip()}"
    bursts = [each for each in found if each.fault is Fault.BURST]
    false = sum(each.is_stack_by_picture for each in bursts)
    yield f"bursts taken for stacks: {_share(false, len(bursts)).strip()}"


def _share(part: int, whole: int) -> str:
    return f"{part / max(1, whole):6.1%}"


def _misses(found: Sequence[Outcome]) -> Iterator[str]:
    for each in found:
        if each.alarms or not each.found:
            yield f"{each.fault} {each.seed}: {', '.join(each.alarms) or 'not found'}"
