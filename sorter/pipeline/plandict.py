"""The plan of an ingest in plain values of JSON, for whoever shows it or keeps it."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import asdict
from typing import TYPE_CHECKING, Final, TypeAlias

from sorter.manifest.document import row_dict
from sorter.manifest.rows import spelled
from sorter.model.card import CardFile, Listing
from sorter.model.compared import Compared
from sorter.model.correction import Correction
from sorter.model.plan import ContentCheck, Entry, Placement, State

if TYPE_CHECKING:
    from sorter.pipeline.ingest_options import IngestOptions
    from sorter.pipeline.planned import BackupFound, IngestPlan
    from sorter.writing.ledger import IngestRun

Json: TypeAlias = object
"""str, int, float, bool, None, and lists and dicts of these with texts as keys."""

FORMAT_VERSION: Final = 1
"""Grows when a name goes away or changes its meaning; new names do not change it."""


def plan_dict(plan: IngestPlan) -> dict[str, Json]:
    """Everything that the plan holds; paths with bytes that are no UTF-8 spelled as in the manifest.

    waiting: what is carried, in the order of the plans, files that the ledger knows with their numbers there.
    updated: of which more is known now, and which stay in their places. left: what stays on the card.
    compared: which files the shoot has; there, failed, missing, changed and edited by path on the card.
    """
    return {
        "form": FORMAT_VERSION,
        "card": spelled(str(plan.card)),
        "shoot": spelled(str(plan.shoot)),
        "basis": plan.basis,
        "moves": plan.would_move,
        "repeats": plan.repeats,
        "goes_on": _run(plan.goes_on),
        "waits_elsewhere": _run(plan.waits_elsewhere),
        "wishes": _request(plan.options),
        "files": len(plan.waiting),
        "bytes": sum(each.row.bytes for each in plan.waiting),
        "waiting": _waiting(plan),
        "updated": [
            _placement(each, number) for number, each in plan.updated if number not in plan.again
        ],
        "left": [_placement(each) for each in plan.left],
        "stored": [entry.number for entry in plan.stored],
        "there": plan.there,
        "staying": plan.staying,
        "astray": plan.astray,
        "finishing": [entry.number for entry in plan.finishing],
        "unread": [spelled(each.row.source) for each in plan.unread],
        "compared": _compared(plan.compared),
        "too_late": [_correction(each) for each in plan.too_late],
        "suggested": [_correction(each) for each in plan.suggested],
        "thrown_away": _texts(plan.thrown),
        "listing": _listing(plan.listing),
        "second": _backup(plan.backup),
    }


def _waiting(plan: IngestPlan) -> list[Json]:
    again = ((number, each) for number, each in plan.updated if number in plan.again)
    known = [*((entry.number, entry.placement) for entry in plan.resumed), *again]
    new = [each for each in plan.placements if each.row.destination]
    return [*(_placement(each, number) for number, each in known), *map(_placement, new)]


def _placement(placement: Placement, number: int | None = None) -> dict[str, Json]:
    """One file's way. number: its number in the ledger; null where it has none yet."""
    return {
        "number": number,
        **row_dict(placement.row),
        "container": placement.container or None,
        "from_near": placement.from_near,
        "said": _texts(map(str, placement.carrying_notes)),
        "unread": placement.unread,
        "mark": placement.fingerprint,
    }


def _entry(entry: Entry) -> dict[str, Json]:
    """A file of the ledger, in short: the manifest says the rest."""
    return {
        "number": entry.number,
        "run": entry.run,
        "source": spelled(entry.row.source),
        "destination": spelled(entry.row.destination) or None,
        "bytes": entry.row.bytes,
        "sha256": entry.row.sha256 or None,
        "state": State(entry.state).value,
    }


def _compared(compared: Compared) -> dict[str, Json]:
    ways = ("there", "failed", "missing", "changed", "edited")
    held, original = dict(compared.held), dict(compared.original)
    return {
        **{name: _found(getattr(compared, name)) for name in ways},
        "closed": {spelled(path): spelled(why) for path, why in compared.closed},
        "held": {str(number): _sure(each) for number, each in held.items()},
        "original": {str(number): _sure(each) for number, each in original.items()},
        "other": _texts(compared.other),
    }


def _found(pairs: Iterable[tuple[str, Entry]]) -> list[Json]:
    return [{"path": spelled(path), **_entry(entry)} for path, entry in pairs]


def _sure(held: ContentCheck) -> str:
    return ContentCheck(held).name.lower()


def _backup(backup: BackupFound | None) -> dict[str, Json] | None:
    if backup is None:
        return None
    failure = backup.failure
    return {
        "folder": spelled(str(backup.folder)),
        "basis": backup.basis,
        "failure": failure and {"kind": failure.kind.__name__, "says": spelled(failure.says)},
        "lacking": [_entry(entry) for entry in backup.lacking],
        "ahead": [_entry(entry) for entry in backup.ahead],
        "compared": _compared(backup.compared),
    }


def _run(run: IngestRun | None) -> dict[str, Json] | None:
    if run is None:
        return None
    return {
        "run": run.run,
        "card": spelled(run.card),
        "mounted": run.mounted,
        "moves": run.moves,
        "two": run.two,
        "state": str(run.state),
    }


def _request(options: IngestOptions) -> dict[str, Json]:
    settings = options.settings
    return {
        "folder": options.folder,
        "name": spelled(options.name),
        "corrections": [_correction(each) for each in options.corrections],
        "moves": options.moves,
        "looks": options.uses_pictures,
        "backup": None if options.backup is None else spelled(str(options.backup)),
        "rereads": options.rereads,
        "clock": {spelled(body): seconds for body, seconds in settings.clock.items()},
        "clock_asked": sorted(map(spelled, settings.clock_asked)),
        "grouping": asdict(settings.grouping),
        "most_megapixels": settings.most_megapixels,
    }


def _correction(correction: Correction) -> dict[str, Json]:
    return {
        "line": correction.line,
        "first": spelled(correction.first),
        "last": spelled(correction.last),
        "kind": correction.kind or None,
        "name": spelled(correction.name) or None,
        "why": spelled(correction.why) or None,
    }


def _listing(listing: Listing) -> dict[str, Json]:
    return {
        "files": [_file(file) for file in listing.files],
        "litter": listing.system_files,
        "folders_closed": _texts(listing.folders_closed),
        "thrown": [_file(file) for file in listing.thrown],
        "aside": [_file(file) for file in listing.aside],
        "shoots": _texts(listing.shoots),
    }


def _file(file: CardFile) -> dict[str, Json]:
    return {
        "path": spelled(file.path),
        "bytes": file.size,
        "modified_ns": file.modified_ns,
        "changed_ns": file.changed_ns,
        "obstacle": file.obstacle or None,
        "plain": file.plain,
        "recovered": file.recovered,
    }


def _texts(texts: Iterable[str]) -> list[str]:
    return [spelled(text) for text in texts]
