"""What ingest, verify and undo say before and after their work: lines for the screen. Pure."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Final

from sorter.cli import phrases
from sorter.cli.layout import Printed
from sorter.cli.planview import MOST_NAMED, folders, named, tree, with_notes, with_reason
from sorter.model.advice import Evidence, Level, advise, last_line
from sorter.model.card import Drift
from sorter.model.correction import Correction
from sorter.model.damage import Damage
from sorter.model.operation import OperationKind
from sorter.model.plan import ContentCheck, Entry, Placement, State, WhyNotRemoved

if TYPE_CHECKING:
    from sorter.api import (
        BackupReport,
        CardSide,
        Findings,
        IngestPlan,
        Report,
        Undone,
        UndoSession,
        Verified,
    )
    from sorter.model.moved import Relocation

STAY: Final = {
    WhyNotRemoved.CHANGED: "it holds other bytes than those that were carried; run it again to carry these",
    WhyNotRemoved.LOCKED: "the system does not let it be read or taken off; a later run with --move ends that",
    WhyNotRemoved.LACKING: "not every file of its frame is verified in each copy",
    WhyNotRemoved.ELSEWHERE: "a folder on the way to it is a link, or one of a copy's own: nothing is taken away "
    "there",
    WhyNotRemoved.MEMORY: "what was read back came perhaps from memory, and not from the disk",
    WhyNotRemoved.BACKUP: "the second copy that it was to have before is not there",
}
"""Why a file that was to be moved is still on the card."""

NO_FILES: Final = (
    "There is no file on the card: an earlier ingest moved them all, or it is another card. Nothing was "
    "carried, and no copy was read."
)
LOST: Final = "MISSING OR CHANGED in the {where} since an earlier run carried them, and not on the card any more"
UNDO_LOST: Final = "MISSING in the shoot, and not on the card as they were carried"
THROWN: Final = "in a trash or system folder on the card, and left there"
SHOOTS: Final = "shoots on the card: not looked into"
MOVED_BEFORE: Final = "What earlier runs moved was not read now: `sorter verify {shoot}` reads it."
_DAMAGES: Final = (Damage.NO_END, Damage.ZEROS, Damage.CUT, Damage.EMPTY)
CLOSED: Final = "folders of the card that cannot be listed: what is in them is not in the shoot"


def files_and_size(placements: Iterable[Placement]) -> str:
    """How much that is: 443 files (24.1 MB)."""
    placements = list(placements)
    size = sum(each.row.bytes for each in placements)
    return f"{phrases.counted(len(placements), 'file', 'files')} ({phrases.amount(size)})"


# ---- ingest ---------------------------------------------------------------------------------


def beforehand(plan: IngestPlan) -> Iterator[str]:
    """What is said before the work: that it goes on, or how much is there already."""
    if plan.goes_on is not None:
        yield (
            f"going on with the ingest of {plan.goes_on.card} that was stopped: "
            f"{files_and_size(plan.waiting)} left. Its plan is kept as it was, "
            "whatever the options say now."
        )
    if plan.waits_elsewhere is not None:
        yield (
            f"an ingest of {plan.waits_elsewhere.card} was stopped in this shoot and waits for that "
            "card; it is left as it is."
        )
    if plan.filling and plan.backup:
        yield (
            f"{files_and_size(each.placement for each in plan.filling)} of the shoot "
            f"{'is' if len(plan.filling) == 1 else 'are'} not in {plan.backup.folder} yet: copied "
            "there from the shoot."
        )
    if plan.finishing:
        files = files_and_size(entry.placement for entry in plan.finishing)
        yield f"{files} that an earlier move carried and left on the card: to be taken off it now."
    if plan.there:
        missing = files_and_size(plan.waiting) if plan.waiting else "nothing is"
        yield (
            f"{phrases.counted(plan.there, 'file is', 'files are')} in the shoot already, byte by "
            f"byte; {missing} missing."
        )
    if plan.astray:
        one = plan.astray == 1
        yield (
            f"{phrases.counted(plan.astray, 'file', 'files')} of the shoot {'is' if one else 'are'} not in "
            f"place, and {'one' if one else 'as many'} of the same {'name' if one else 'names'} and size "
            f"{'lies' if one else 'lie'} elsewhere in it. What you moved is carried again by an ingest, "
            f"unless `sorter verify {plan.shoot} --adopt` has noted where it lies now."
        )
    if plan.staying and plan.would_move and plan.goes_on is None:
        files = phrases.counted(plan.staying, "file stays", "files stay")
        yield (
            f"{files} on the card, carried by an earlier ingest: --move takes off it only what it "
            "carries itself."
        )


def too_late(corrections: Iterable[Correction]) -> Iterator[str]:
    """Which lines of the corrections ask for something else than what is in the shoot already."""
    lines = [str(each.line) for each in corrections]
    if not lines:
        return
    more = f" and {len(lines) - MOST_NAMED} more" if len(lines) > MOST_NAMED else ""
    named_lines = f"{'line' if len(lines) == 1 else 'lines'} {', '.join(lines[:MOST_NAMED])}{more}"
    yield (
        f"corrections, {named_lines}: these frames are in the shoot already, in other sequences or of "
        "another kind. They stay as they are there: nothing is moved or renamed. To group the "
        "shoot so, give the file to `sorter check SHOOT --apply --corrections FILE`."
    )


def planned(plan: IngestPlan) -> Iterator[Printed]:
    """The plan as a tree, and the sum of it."""
    yield from (Printed(text=remark) for remark in (*beforehand(plan), *too_late(plan.too_late)))
    waiting = plan.waiting
    if waiting:
        yield from (Printed(text=line) for line in tree(str(plan.shoot), waiting))
    yield from _not_read(plan)
    verb = "move" if plan.would_move else "copy"
    if plan.backup:
        yield Printed(
            text=f"A second copy of each goes to {phrases.safe(str(plan.backup.folder))}."
        )
    yield Printed(
        text=f"{files_and_size(waiting)} to {verb}. This was a dry run: nothing was written.",
        style="heading",
    )


def _not_read(plan: IngestPlan) -> Iterator[Printed]:
    """What of the card could not be read, named as the ingest itself will name it."""
    closed = _closed(plan)
    yield from _named("left on the card (no plain files)", map(with_notes, _left(plan)))
    yield from _named(
        "cannot be read; an ingest tries it again",
        map(with_notes, closed),
    )
    opened = [each for each in plan.unread if each.row.destination and each not in closed]
    yield from _named("cannot be read as pictures; carried as they are", map(with_notes, opened))
    yield from _named(CLOSED, (f"{folder}/" for folder in plan.closed))
    yield from _named(THROWN, plan.thrown, rest="")
    yield from _named(SHOOTS, (f"{folder}/" for folder in plan.shoots), rest="")


def would_be_whole(plan: IngestPlan) -> bool:
    """Whether an ingest would carry all of the card, as far as a look at it tells."""
    return not (plan.closed or _left(plan) or _closed(plan))


def _left(plan: IngestPlan) -> list[Placement]:
    """What is no plain file, and stays on the card."""
    both = {each.row.source: each for each in (*plan.placements, *plan.unread)}
    return [each for each in both.values() if not each.row.destination]


def _closed(plan: IngestPlan) -> list[Placement]:
    """Files whose bytes the card did not give; one that has none gave them all."""
    unread = (each for each in plan.unread if each.row.destination)
    return [
        each for each in unread if not each.fingerprint and Damage.EMPTY not in each.row.remarks
    ]


def ingested(report: Report, shoot: Path) -> Iterator[Printed]:
    """Where the files are, what went wrong, and what to do before formatting the card."""
    yield from _folders(report)
    yield from _troubles(report)
    known, verified = len(report.entries), report.verified
    if not known and not report.closed and not report.failure:
        yield Printed(text=NO_FILES, style="heading")
        yield Printed(text=MOVED_BEFORE.format(shoot=phrases.safe(str(shoot))))
        yield from _last(report.evidence)
        return
    yield Printed(
        text=f"{verified} of {phrases.counted(known, 'file', 'files')} verified: {_how(report)}",
        style="heading",
    )
    if verified:
        yield Printed(text=f"They are in {phrases.safe(str(shoot))}, listed in manifest.csv there.")
    if report.backup:
        yield _backup(report.backup)
    style = "plain" if advise(report.evidence).level < Level.NEVER else "note"
    yield Printed(text=last_line(report.evidence), style=style)


def _backup(backup: BackupReport) -> Printed:
    """What of it is in the second copy."""
    known, where = len(backup.entries), phrases.safe(str(backup.folder))
    if backup.failure and not known:
        text = f"Second copy: nothing is in {where}: it could not be begun."
    else:
        text = f"Second copy: {backup.verified} of {phrases.counted(known, 'file', 'files')} verified in {where}."
        text += _perhaps(backup.unsure, "read back")
        text += " It stopped there." if backup.failure else ""
    return Printed(text=text, style="plain" if backup.is_whole else "note")


def _how(report: Report) -> str:
    """What was done with what is verified, and how the card was read."""
    new = {entry.number for entry in report.new} & _verified_now(report)
    kept = {entry.number for entry, _ in report.kept}
    off = {e.number for e in (*report.gone, *(e for e in report.new if e.gone))} & new - kept
    there = report.verified - len(new)
    if not report.verified:
        return "none is in the shoot."
    done = "moved" if off else "copied and read back"
    if off and off < new:
        still = " and still on the card" if new - off <= kept else ""
        done = f"{len(off)} moved, {len(new - off)} copied{still}"
    if not new:
        done = "all were there already" if there == len(report.entries) else "there already"
    elif there:
        now = f"carried now ({done})" if off and off < new else f"{done} now"
        done = f"{len(new)} {now}, {there} there already and read again"
    return f"{done}, {_as_the_card(report)}.{_perhaps(report.unsure, 'read back')}"


def _verified_now(report: Report) -> set[int]:
    """The numbers of the files that are called verified."""
    placed = (entry.number for entry in report.entries if entry.state is State.PLACED)
    return {number for number in placed if report.held.get(number)}


def _as_the_card(report: Report) -> str:
    """What is known of the card's side: of a move all of it was read before it left."""
    known = _verified_now(report) - {entry.number for entry in report.gone}
    known_values = [report.twice.get(number, ContentCheck.NO) for number in known]
    if all(held is ContentCheck.SURE for held in known_values):
        return "and equal to the card's byte by byte, read past the cache"
    if all(known_values):
        return "and equal to the card's, which was read perhaps from memory"
    return "as the card gave it, read once"


def _perhaps(count: int, what: str) -> str:
    """What is said of readings that may not have come from the disk."""
    if not count:
        return ""
    return f" {phrases.counted(count, 'file was', 'files were')} {what} perhaps from memory."


def _folders(report: Report) -> Iterator[Printed]:
    rows = [(name, str(count), phrases.amount(size)) for name, count, size in folders(report.new)]
    if not rows:
        return
    rows = [("folder", "files", "size"), *rows]
    widths = [max(len(row[column]) for row in rows) for column in range(3)]
    for place, (name, count, size) in enumerate(rows):
        text = f"{name:<{widths[0]}}  {count:>{widths[1]}}  {size:>{widths[2]}}"
        yield Printed(text=phrases.safe(text), style="plain" if place else "heading")
    yield Printed(text="")


def _troubles(report: Report) -> Iterator[Printed]:
    yield from _named(
        "could not be carried; try again, with another reader or cable",
        (with_reason(entry) for entry in report.failed),
    )
    yield from _named("left on the card", (with_notes(entry.placement) for entry in report.left))
    yield from _named(
        CLOSED,
        (f"{folder}/" for folder in report.closed),
    )
    yield from _named(
        "could not be read as pictures; carried as they are",
        (with_notes(entry.placement) for entry in report.unread),
    )
    yield from _named(
        "seem damaged on the card; carried as they are",
        (f"{entry.row.source}: {_damage(entry)}" for entry in report.damaged),
    )
    yield from _named(
        "changed in the shoot since they were carried; carried once more, beside them",
        (entry.row.destination for entry in report.changed),
    )
    yield from _named(
        "edited in the shoot since they were carried; left as they are",
        (entry.row.destination for entry in report.edited),
    )
    yield from _named(
        "gave other bytes when the card was read first; carried once more, and read again",
        (entry.row.source for entry in report.mended),
        rest="",
    )
    yield from _named(
        "on the card with other bytes than an earlier run carried; carried once more, beside them",
        report.other,
        rest="",
    )
    yield from _named(LOST.format(where="shoot"), (e.row.destination for e in report.lost))
    if report.backup:
        yield from _troubles_of(report.backup, report)
    for reason, why in STAY.items():
        kept = [entry.row.source for entry, each in report.kept if each is reason]
        files = phrases.counted(
            len(kept), "file that was to be moved is still", "files that were to be moved are still"
        )
        yield from _named(f"{files} on the card: {why}", kept, rest="")
    yield from _drifted(report)


def _troubles_of(backup: BackupReport, report: Report) -> Iterator[Printed]:
    """What went wrong with the second copy alone."""
    known = {entry.number for entry in report.failed}
    yield from _named(
        "not in the second copy",
        (with_reason(entry) for entry in backup.failed if entry.number not in known),
    )
    yield from _named(
        "edited in the second copy since they were carried; left as they are",
        (entry.row.destination for entry in backup.edited),
    )
    yield from _named(
        "changed in the second copy since they were carried; carried once more, beside them",
        (entry.row.destination for entry in backup.changed),
    )


def _drifted(report: Report) -> Iterator[Printed]:
    """How the card differs from what it was when this run listed it, and what on it is never carried."""
    drift = report.drift or Drift()
    for heading, paths in (
        ("came onto the card while the ingest ran; run it again to carry them", drift.new),
        ("changed on the card while the ingest ran; run it again to carry them", drift.changed),
        ("went from the card while the ingest ran", drift.vanished),
        (THROWN, report.thrown),
        (SHOOTS, (f"{folder}/" for folder in report.shoots)),
    ):
        yield from _named(heading, paths, rest="")


def _damage(entry: Entry) -> str:
    parts = {
        note
        for note in (*entry.row.remarks, *entry.placement.carrying_notes)
        if isinstance(note, Damage)
    }
    return ", ".join(damage for damage in _DAMAGES if damage in parts)


def _named(
    heading: str, texts: Iterable[str], *, rest: str = "; the manifest names them all"
) -> Iterator[Printed]:
    lines = list(named(heading, texts, rest=rest))
    for place, line in enumerate(lines):
        yield Printed(text=line, style="note" if place == 0 else "plain")
    if lines:
        yield Printed(text="")


# ---- verify ---------------------------------------------------------------------------------


def both_verified(both: Iterable[Verified], *, mends: bool) -> Iterator[Printed]:
    """What was found in each of two copies, and what was mended in it."""
    both = tuple(both)
    for each in both:
        where = each.folder
        yield from _named(f"mended in {where}", sorted(each.findings.mended))
        yield from _named(f"what these took the place of is kept in {where}", each.aside)
        yield from _named(
            f"could not be mended in {where}", (f"{p}: {why}" for p, why in each.unmended.items())
        )
        yield from _verified(each.findings, where)
    yield from _to_adopt(each.findings for each in both)
    if not mends and any(each.findings.broken or each.findings.waiting for each in both):
        yield Printed(
            text="Give --mend to copy what one of them lacks from the other.", style="note"
        )


def verified(findings: Findings, shoot: Path) -> Iterator[Printed]:
    """What has changed, by name; then how many files are as they were, and what to do."""
    yield from _verified(findings, shoot)
    yield from _to_adopt([findings])
    if findings.has_failed:
        yield Printed(
            text="Copy what is named above from the card or from your second copy, and keep both "
            "until `sorter verify` finds nothing.",
            style="note",
        )


def _to_adopt(found: Iterable[Findings]) -> Iterator[Printed]:
    if any(each.moved.keys() - each.unnoted.keys() for each in found):
        yield Printed(
            text="Give --adopt to note where the files lie now that you moved.", style="note"
        )


def moved_lines(findings: Findings, shoot: Path) -> Iterator[str]:
    """Where files went that were moved, before it is asked whether that is to be noted."""
    yield from named(f"moved by you in {phrases.safe(str(shoot))}", _moves(findings.moves), rest="")


def adoption_question(findings: Findings, shoot: Path) -> str:
    """What is asked before new places are noted, or lists are written that a stopped run left."""
    if not findings.moved:
        return f"Write manifest.csv and SHA256SUMS of {shoot} anew, as the ledger has its files?"
    files = phrases.counted(len(findings.moved), "file", "files")
    return (
        f"Note the new {'place' if len(findings.moved) == 1 else 'places'} of {files} of {shoot}?"
    )


def _moves(moves: Iterable[Relocation]) -> Iterator[str]:
    for move in moves:
        files = f"  ({phrases.counted(move.files, 'file', 'files')})" if move.is_folder else ""
        yield f"{move.before} → {move.after}{files}"


def _verified(findings: Findings, shoot: Path) -> Iterator[Printed]:
    yield from _named("moved by you, and noted so", _moves(findings.noted_moves), rest="")
    yield from _named("moved by you", _moves(findings.unnoted_moves), rest="")
    never = (f"{path}: {why}" for path, why in sorted(findings.never_noted.items()))
    yield from _named("moved by you, and not noted", never, rest="")
    yield from _named("MISSING", findings.missing)
    yield from _named("CHANGED", findings.changed)
    yield from _named(
        "CANNOT BE READ", (f"{path}: {why}" for path, why in findings.unreadable.items())
    )
    yield from _named("edited since (sidecars, lists)", findings.edited)
    yield from _named("added since, and not known to the ledger", findings.added)
    yield from _named("folders that cannot be listed", findings.hidden)
    yield from _named("of the card, and never carried", findings.uncarried)
    failed = len(findings.missing) + len(findings.changed) + len(findings.unreadable)
    total = findings.good + failed + findings.sidecars + len(findings.waiting)
    files = phrases.counted(total, "file", "files")
    unsure = sum(held is ContentCheck.PERHAPS for held in findings.held.values())
    text = f"{findings.good} of {files} verified in {phrases.safe(str(shoot))}{_of_them(findings)}."
    yield Printed(text=text + _perhaps(unsure, "read"), style="heading")


def _of_them(findings: Findings) -> str:
    """How many of the verified files are not where they were carried."""
    moved = len((findings.moved.keys() | findings.adopted.keys()) & findings.sound.keys())
    return f", {moved} of them moved by you" if moved else ""


def card_verified(
    side: CardSide, shoot: Findings, backup: Findings | None = None
) -> Iterator[Printed]:
    """Which files of a card the copies hold, what of it they do not, and whether it may be formatted."""
    drift = side.drift or Drift()
    for heading, texts in (
        ("ON THE CARD WITH OTHER BYTES than those that were carried", side.other),
        ("CANNOT BE READ on the card", [f"{path}: {why}" for path, why in side.unread.items()]),
        ("on the card, and in no copy", side.unknown),
        ("on the card, and no plain files", side.links),
        ("folders of the card that cannot be listed", side.closed),
        (THROWN, side.thrown),
        (SHOOTS, (f"{folder}/" for folder in side.shoots)),
        ("came onto the card meanwhile", drift.new),
        ("changed on the card meanwhile", drift.changed),
        ("went from the card meanwhile", drift.vanished),
    ):
        yield from _named(heading, texts, rest="")
    held = side.held_by(shoot)
    files, are = phrases.counted(side.files, "file", "files"), "is" if side.files == 1 else "are"
    text = f"{len(held)} of {files} on the card {are} in the shoot, equal byte by byte."
    if not side.files:
        text = (
            f"There is no file of a card in {phrases.safe(str(side.root))}: nothing was compared."
        )
    yield Printed(text=text + _perhaps(side.unsure, "read on the card"), style="heading")
    yield from _last(side.evidence(shoot, backup))


def _last(evidence: Evidence) -> Iterator[Printed]:
    """Whether the card may be formatted; of one without a file only why not, where that is so."""
    level = advise(evidence).level
    if evidence.files or level is Level.NEVER:
        yield Printed(text=last_line(evidence), style="plain" if level < Level.NEVER else "note")


# ---- undo -----------------------------------------------------------------------------------


def newest(work: UndoSession, files: str) -> str:
    """What is taken back, and how many files that touches."""
    what = str(work.what)
    if work.what is OperationKind.INGEST:
        what = f"ingest of {work.came_from}"
    return f"To be taken back: the newest {what}, {files}."


def undone(outcome: Undone, shoot: Path, card: Path) -> Iterator[Printed]:
    """How many files were taken back, which stay, and which are in neither place."""
    yield from _named(UNDO_LOST, outcome.lost)
    yield from _named(f"stay in {shoot}", (f"{path}: {why}" for path, why in outcome.stay.items()))
    if outcome.moved_within is not None:
        files = phrases.counted(outcome.moved_within, "file", "files")
        yield Printed(text=f"The last regrouping is taken back: {files} moved.", style="heading")
        return
    if outcome.given_up is not None:
        files = phrases.counted(outcome.given_up, "file", "files")
        yield Printed(
            text=f"The last adoption is taken back: {files} noted where they lay before it, and none moved.",
            style="heading",
        )
        return
    parts = []
    if outcome.removed or not outcome.returned:
        parts.append(f"{phrases.counted(outcome.removed, 'copy', 'copies')} removed from the shoot")
    if outcome.returned:
        parts.append(f"{phrases.counted(outcome.returned, 'file', 'files')} moved back to {card}")
    yield Printed(text=phrases.safe(f"{', '.join(parts)}."), style="heading")
