"""Stacks of a shoot handed over as lists and folders."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path

from sorter.disk.output import check_folder, real_path
from sorter.errors import BadChoice
from sorter.handoff.choose import StackFindings, choose
from sorter.handoff.deliver import Delivery, refuse_lists, refuse_shoots_own
from sorter.manifest.checks import (
    CHECKS,
    read_best,
    read_frames,
    read_left_out,
    read_verdicts,
)
from sorter.model.plan import Entry
from sorter.model.progress import CountProgress
from sorter.model.stack import Handed, Handoff, LeftOut, StackRequest
from sorter.writing import records


def hand_off(
    shoot: Path,
    request: StackRequest,
    progress: CountProgress,
    *,
    lists: Path | None,
    folders: Path | None,
) -> Handoff:
    """The stacks that are asked for stand as lists, as folders, or both; and what came of each.

    Raises BadChoice where nothing is to be written or the request does not fit the shoot, and what
    entries_of raises where there is none, before anything is written; so OutputNotWritable where the
    target lies in a card. After that OutputNotWritable and NoRoom; what was handed over before them
    stays.
    """
    if lists is None and folders is None:
        raise BadChoice("say where the stacks are to go: --list DIR, --folders DIR, or both.")
    entries = records.entries_of(shoot)
    choice = choose(entries, request, findings_of(shoot, request, entries))
    stacks = tuple(each for stack in choice.stacks for each in (stack, *stack.related))
    shoot, lists, folders = real_path(shoot), _real(lists), _real(folders)
    cards = records.cards_of(shoot)
    for target in filter(None, (lists, folders)):
        refuse_shoots_own(shoot, target, entries)
        check_folder(target, cards=cards)
    if lists is not None:
        refuse_lists(shoot, lists, folders, stacks)
    delivery = Delivery(shoot=shoot, lists=lists, folders=folders, progress=progress)
    outcomes = (*delivery.hand_over(stacks), *choice.left_out)
    left_out = [each for each in outcomes if isinstance(each, LeftOut)]
    return Handoff(
        request=request,
        handed=tuple(each for each in outcomes if isinstance(each, Handed)),
        left_out=tuple(sorted(left_out, key=lambda each: each.number)),
        passed_over=choice.passed_over,
        lists=str(lists or ""),
        folders=str(folders or ""),
    )


def findings_of(shoot: Path, request: StackRequest, entries: Iterable[Entry]) -> StackFindings:
    """What the shoot's checks.csv says, as far as the request asks for it.

    Raises BadChoice where there is none, none that can be read, or one of other frames than the
    shoot has now.
    """
    checks = real_path(shoot) / CHECKS
    _refuse_old(checks, request, entries)
    return StackFindings(
        best={} if request.best is None else read_best(checks),
        verdicts={} if request.verdicts is None else read_verdicts(checks),
        left_out=read_left_out(checks) if request.trims else {},
    )


def _refuse_old(checks: Path, request: StackRequest, entries: Iterable[Entry]) -> None:
    """Positions of a sequence that has grown since are positions of other frames."""
    asked = (("--best", request.best is not None), ("--verdict", request.verdicts is not None))
    option = next(
        (name for name, is_asked in (*asked, ("--trim", request.trims)) if is_asked), None
    )
    if option is None:
        return
    now = {e.row.sequence: e.row.frames for e in entries if e.row.position is not None}
    for number, frames in read_frames(checks, option).items():
        if now.get(number) != frames:
            has = f"has {now[number]}" if number in now else "is not there any more"
            raise BadChoice(
                f"{option}: {checks} is older than the shoot: sequence {number} had {frames} frames, and "
                f"{has}. Run `sorter check` on the shoot again."
            )


def _real(path: Path | None) -> Path | None:
    return None if path is None else real_path(path)
