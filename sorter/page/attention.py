"""Why a sequence deserves a look, each reason in a few words."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from sorter.model.finding import Check, Verdict


def reasons(check: Check | None, notes: Iterable[str], suggested: Iterable[str]) -> tuple[str, ...]:
    """Findings first, then what the manifest notes; relations are no trouble, and not among these."""
    found = _of_check(check) if check is not None else iter(())
    return tuple(dict.fromkeys((*found, *suggested, *notes)))


def _of_check(check: Check) -> Iterator[str]:
    if check.verdict in (Verdict.INCOMPLETE, Verdict.BROKEN):
        yield str(check.verdict)
    if check.is_stack and check.verdict in (None, Verdict.UNJUDGED):
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
