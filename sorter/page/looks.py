"""Why a sequence deserves a look, each reason in a few words."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from sorter.model.finding import Check, Verdict
from sorter.model.sequence import Bond


def reasons(check: Check | None, notes: Iterable[str], suggested: Iterable[str]) -> tuple[str, ...]:
    """Findings first, then what the manifest notes, but for relations: these are no trouble."""
    found = _of_check(check) if check is not None else iter(())
    told = (note for note in notes if not is_relation(note))
    return tuple(dict.fromkeys((*found, *suggested, *told)))


def is_relation(note: str) -> bool:
    """Whether a note says how a sequence stands to another one."""
    return any(bond.numbers(note) for bond in Bond)


def _of_check(check: Check) -> Iterator[str]:
    if check.verdict in (Verdict.INCOMPLETE, Verdict.BROKEN):
        yield str(check.verdict)
    if check.is_stack and check.verdict is None:
        yield "cannot be judged"
    if check.looks_like is not None:
        yield f"looks like a {check.looks_like}".replace("-", " ")
    for positions, words in (
        (check.dark, "dark"),
        (check.odd, "shows something else"),
        (check.unseen, "cannot be looked at"),
        (check.jumps, "jumped behind"),
        (check.moved, "movement behind"),
        (check.bright_steps, "other light behind"),
    ):
        if positions:
            yield f"{words}: {', '.join(map(str, positions))}"
