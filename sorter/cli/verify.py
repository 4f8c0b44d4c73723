"""`sorter verify`: is a shoot what it was."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Final

import click

from sorter.cli.options import yes_option
from sorter.cli.paths import GivenPath
from sorter.errors import NotAgreed

if TYPE_CHECKING:
    from sorter.pipeline import CardSide, Findings, Verification, Verified

ADDED_OR_EDITED: Final = 1
VERIFICATION_FAILED: Final = 4

_EXAMPLE = """\b
Examples:
  sorter verify ~/pictures/rock-pool
  sorter verify ~/pictures/rock-pool --backup /media/second/rock-pool
  sorter verify ~/pictures/rock-pool --adopt
  sorter verify ~/pictures/rock-pool --backup /media/second/rock-pool --mend
  sorter verify ~/pictures/rock-pool --backup /media/second/rock-pool --card /media/card

Exit codes: 0 every file is as it was carried; 1 the same, but files were moved by you and not adopted,
or added, sidecars edited, or some of the card never carried: they are listed; 2 wrong usage, nothing
done; 3 stopped; 4 files are changed, missing or unreadable, in a copy or on the card, and were not
mended: they are named.
"""


@click.command(epilog=_EXAMPLE)
@click.argument("shoot", type=GivenPath(), metavar="SHOOT")
@click.option(
    "--backup",
    type=GivenPath(),
    metavar="DIR",
    help="Read the second copy in this folder too.",
)
@click.option(
    "--adopt",
    "adopts",
    is_flag=True,
    help="Note the new places of files that you moved within the shoot, or within the second copy; no "
    "file is moved.",
)
@click.option(
    "--mend",
    is_flag=True,
    help="Copy what one of the two lacks, or holds otherwise, from the other. Needs --backup.",
)
@click.option(
    "--card",
    type=GivenPath(),
    metavar="CARD",
    help="Read this card too, past the system's cache, and say which of its files are in the shoot.",
)
@yes_option
@click.pass_context
def verify(
    ctx: click.Context,
    shoot: Path,
    backup: Path | None,
    card: Path | None,
    *,
    adopts: bool,
    mend: bool,
    yes: bool,
) -> None:
    """Reads a shoot again and names what has changed.

    Every file that was carried into SHOOT is read and held against the digest that the ledger has
    of it. A file that is not in its place is sought by its bytes in the whole shoot: where you moved or
    renamed it, alone or with its folder, that is said. Nothing is changed.

    With --adopt the ledger, manifest.csv and SHA256SUMS say where such files lie now. It asks first;
    without a terminal it needs --yes.

    With --backup the second copy is read and held against the same digests. With --mend as well, what
    is missing or changed in one of the two comes from the other, verified; the file that it takes the
    place of is kept under .sorter/replaced. An edited sidecar is your work, and stays; so does what you
    moved, which is looked for, and adopted, in each of the two by itself.

    With --card every file of the card is read and compared with what the copies hold now, and the last
    line says whether the card may be formatted. The card is only ever read.
    """
    # Imported here, so that this command's help answers at once too.
    from sorter import pipeline  # noqa: PLC0415
    from sorter.cli import console, endings  # noqa: PLC0415

    _refuse(backup, adopts=adopts, mends=mend, yes=yes)
    with pipeline.Verification(shoot, backup, adopts=adopts, mends=mend) as work:
        both, side = _worked(work, card, (shoot, backup), mends=mend, yes=yes)
    found = [each.findings for each in both]
    if backup is None:
        console.show_lines(endings.verified(found[0], shoot))
    else:
        console.show_lines(endings.both_verified(both, mends=mend))
    if side is not None:
        console.show_lines(endings.card_verified(side, *found))
    for each in both:
        if each.failure:
            raise each.failure
    every: list[Findings | CardSide] = [*found, *([] if side is None else [side])]
    if any(each.has_failed for each in every):
        ctx.exit(VERIFICATION_FAILED)
    if any(each.has_remarks for each in every):
        ctx.exit(ADDED_OR_EDITED)


def _refuse(backup: Path | None, *, adopts: bool, mends: bool, yes: bool) -> None:
    """Returns where the options fit each other, and somebody agrees or can be asked."""
    from sorter import pipeline  # noqa: PLC0415  see above
    from sorter.cli import console  # noqa: PLC0415

    if mends and backup is None:
        raise click.UsageError("--mend needs --backup: the second copy to mend from.")
    if adopts and not (yes or console.can_ask()):
        raise NotAgreed("--adopt notes new places. Without a terminal to ask on, give --yes.")
    if mends and backup is not None:
        pipeline.check_folder(backup)


def _worked(
    work: Verification,
    card: Path | None,
    folders: tuple[Path, Path | None],
    *,
    mends: bool,
    yes: bool,
) -> tuple[tuple[Verified, ...], CardSide | None]:
    """What is in the folders, adopted and mended where that is wished; and what is on the card."""
    from sorter import pipeline  # noqa: PLC0415  see above
    from sorter.cli import console  # noqa: PLC0415

    with console.Bars() as bars:
        both = work.look(bars.tick("verifying", in_bytes=True))
    if work.adopts:
        _adopt(work, yes=yes)
    with console.Bars() as bars:
        if mends:
            both = work.mend(bars.tick("mending", in_bytes=True))
        if card is None:
            return both, None
        comparing = bars.tick("comparing with the card", in_bytes=True)
        return both, pipeline.against_card(card, *folders, both[0].findings, comparing)


def _adopt(work: Verification, *, yes: bool) -> None:
    """What was moved is noted, where whoever is asked agrees."""
    from sorter.cli import console, endings  # noqa: PLC0415  see above

    for each in () if yes else work.to_adopt:
        for remark in endings.moved_lines(each.findings, each.folder):
            console.remark(remark)
        if not console.agrees(endings.adoption_question(each.findings, each.folder)):
            raise NotAgreed("nothing was noted, and nothing was done.")
    work.adopt()
