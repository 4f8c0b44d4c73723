"""Two copies of a shoot, each mended from what is good in the other."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from sorter.model.plan import ContentCheck, Entry
from sorter.model.progress import ByteProgress
from sorter.writing.carry import Carrier
from sorter.writing.copying import Job
from sorter.writing.target import Target
from sorter.writing.verify import Findings


@dataclass(frozen=True, slots=True, kw_only=True)
class Side:
    """One of the two folders, and what was found in it."""

    target: Target
    findings: Findings

    def wanting(self) -> dict[int, Entry]:
        """What is broken here, or was never carried, by number.

        Not what is nowhere while another file of the shoot, which was moved, lies in its place: a good
        copy would set that one aside.
        """
        found = self.findings
        wanting = {**found.broken, **found.waiting}
        return {number: wanting[number] for number in wanting.keys() - found.crowded.keys()}


def mending(one: Side, two: Side) -> tuple[Job, ...]:
    """What is to be read from which side, so that both hold all that one of them holds whole."""
    jobs = (*_jobs(one, two), *_jobs(two, one))
    return tuple(sorted(jobs, key=lambda job: job.entry.number))


def _jobs(side: Side, other: Side) -> Iterator[Job]:
    for number, entry in side.wanting().items():
        good = other.findings.sound.get(number)
        if good is not None:
            wanted = ((side.target, entry),)
            yield Job(wanted=wanted, origin=other.target.shoot, copy=good)


def mend(sides: tuple[Side, Side], jobs: tuple[Job, ...], progress: ByteProgress) -> None:
    """Each file that one side lacks is copied from the other, verified, and put in its place.

    What is in that place is set aside, and nothing is lost. The targets' outcomes tell what became
    of it, and so do their failures. Raises what the first target has against it where both failed.
    """
    with Carrier(None, [side.target for side in sides], progress) as carrier:
        carrier.carry(jobs)


def take_note(side: Side) -> None:
    """What was put right is among what is sound, and no more among what is not."""
    for entry in side.target.outcome.placed:
        side.findings.mend(entry, side.target.outcome.held.get(entry.number, ContentCheck.NO))
