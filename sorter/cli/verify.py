"""`sorter verify`: is a shoot what it was."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from sorter import api
from sorter.cli import console, endings
from sorter.cli.options import json_option, yes_option
from sorter.cli.paths import GivenPath
from sorter.errors import NotAgreed

if TYPE_CHECKING:
    from sorter.api import VerifiedShoot, Verifying

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
@json_option
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
    as_json: bool,
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
    if mend and backup is None:
        raise click.UsageError("--mend needs --backup: the second copy to mend from.")
    if adopts and not (yes or console.can_ask()):
        raise NotAgreed("--adopt notes new places. Without a terminal to ask on, give --yes.")
    request = api.VerifyRequest(shoot=shoot, backup=backup, card=card, mends=mend, adopts=adopts)
    with console.Bars() as bars, api.Verifying(request, api.Watch(progress=bars.progress)) as work:
        outcome = work.verified(lambda: _agree(work, bars, yes=yes))
    if as_json:
        console.show_json(outcome.to_dict())
    else:
        _show(outcome, shoot, mends=mend)
    failure = next((each.failure for each in outcome.folders if each.failure), None)
    if failure is not None:
        raise failure
    ctx.exit(outcome.exit_code)


def _agree(work: Verifying, bars: console.Bars, *, yes: bool) -> None:
    """Returns where whoever is asked agrees that what was moved is noted. Raises NotAgreed."""
    bars.stop()
    for each in () if yes else work.to_adopt:
        for remark in endings.moved_lines(each.findings, each.folder):
            console.remark(remark)
        if not console.agrees(endings.adoption_question(each.findings, each.folder)):
            raise NotAgreed("nothing was noted, and nothing was done.")


def _show(outcome: VerifiedShoot, shoot: Path, *, mends: bool) -> None:
    found = [each.findings for each in outcome.folders]
    if len(found) == 1:
        console.show_lines(endings.verified(found[0], shoot))
    else:
        console.show_lines(endings.both_verified(outcome.folders, mends=mends))
    if outcome.card is not None:
        console.show_lines(endings.card_verified(outcome.card, *found))
