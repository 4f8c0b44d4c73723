"""The front door: the whole job for programs, each call a frozen request, answered by a frozen result.

A name is imported when it is asked for (PEP 562), so that who asks for one thing loads only that.
"""

from __future__ import annotations

import importlib
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from sorter.api.checking import (
        CheckedPictures,
        CheckRequest,
        RegroupedShoot,
        check,
        checked,
        regroup,
    )
    from sorter.api.handing import (
        CollectedResults,
        CollectRequest,
        HandedOff,
        HandOffRequest,
        collect,
        collected,
        hand_off,
        handed_off,
        stack_request,
    )
    from sorter.api.ingesting import Ingested, Ingesting, IngestRequest, carry, ingest, plan
    from sorter.api.options import Grouping, corrections_of, folder_of
    from sorter.api.plain import Json, plain
    from sorter.api.progress import Cancel, Progress, Stage, Watch
    from sorter.api.reporting import ReportPage, ReportRequest, report, reported
    from sorter.api.scanning import Scanned, ScanRequest, scan, scanned
    from sorter.api.stepping import Steps, StepsRequest, answered, steps
    from sorter.api.tallying import Tallied, TallyRequest, tallied, tally
    from sorter.api.undoing import TakenBack, UndoRequest, UndoSession, undo
    from sorter.api.verifying import VerifiedShoot, Verifying, VerifyRequest, verify
    from sorter.model.change import Regrouping
    from sorter.model.correction import Correction
    from sorter.model.subject import Checked
    from sorter.pipeline.card_check import CardSide
    from sorter.pipeline.ingest_options import IngestOptions
    from sorter.pipeline.ingest_report import BackupReport, Report
    from sorter.pipeline.planned import IngestPlan
    from sorter.pipeline.regrouping import Regrouped
    from sorter.pipeline.reporting import Reported
    from sorter.pipeline.verifying import Verified
    from sorter.writing.undo import Undone
    from sorter.writing.verify import Findings

_HOMES: Final[dict[str, tuple[str, ...]]] = {
    "sorter.api.checking": (
        "CheckRequest",
        "CheckedPictures",
        "RegroupedShoot",
        "check",
        "checked",
        "regroup",
    ),
    "sorter.api.handing": (
        "CollectRequest",
        "CollectedResults",
        "HandOffRequest",
        "HandedOff",
        "collect",
        "collected",
        "hand_off",
        "handed_off",
        "stack_request",
    ),
    "sorter.api.ingesting": ("IngestRequest", "Ingested", "Ingesting", "carry", "ingest", "plan"),
    "sorter.api.options": ("Grouping", "corrections_of", "folder_of"),
    "sorter.api.plain": ("Json", "plain"),
    "sorter.api.progress": ("Cancel", "Progress", "Stage", "Watch"),
    "sorter.api.reporting": ("ReportPage", "ReportRequest", "report", "reported"),
    "sorter.api.scanning": ("ScanRequest", "Scanned", "scan", "scanned"),
    "sorter.api.stepping": ("Steps", "StepsRequest", "answered", "steps"),
    "sorter.api.tallying": ("Tallied", "TallyRequest", "tallied", "tally"),
    "sorter.api.undoing": ("TakenBack", "UndoRequest", "UndoSession", "undo"),
    "sorter.api.verifying": ("VerifiedShoot", "Verifying", "VerifyRequest", "verify"),
    "sorter.model.correction": ("Correction",),
    "sorter.model.change": ("Regrouping",),
    "sorter.model.subject": ("Checked",),
    "sorter.pipeline.card_check": ("CardSide",),
    "sorter.pipeline.planned": ("IngestPlan",),
    "sorter.pipeline.regrouping": ("Regrouped",),
    "sorter.pipeline.reporting": ("Reported",),
    "sorter.pipeline.verifying": ("Verified",),
    "sorter.pipeline.ingest_options": ("IngestOptions",),
    "sorter.pipeline.ingest_report": ("Report", "BackupReport"),
    "sorter.writing.undo": ("Undone",),
    "sorter.writing.verify": ("Findings",),
}
"""Where each name is at home."""
_HOME_OF: Final = {name: home for home, names in _HOMES.items() for name in names}

__all__ = [
    "BackupReport",
    "Cancel",
    "CardSide",
    "CheckRequest",
    "Checked",
    "CheckedPictures",
    "CollectRequest",
    "CollectedResults",
    "Correction",
    "Findings",
    "Grouping",
    "HandOffRequest",
    "HandedOff",
    "IngestOptions",
    "IngestPlan",
    "IngestRequest",
    "Ingested",
    "Ingesting",
    "Json",
    "Progress",
    "Regrouped",
    "RegroupedShoot",
    "Regrouping",
    "Report",
    "ReportPage",
    "ReportRequest",
    "Reported",
    "ScanRequest",
    "Scanned",
    "Stage",
    "Steps",
    "StepsRequest",
    "TakenBack",
    "Tallied",
    "TallyRequest",
    "UndoRequest",
    "UndoSession",
    "Undone",
    "Verified",
    "VerifiedShoot",
    "VerifyRequest",
    "Verifying",
    "Watch",
    "answered",
    "carry",
    "check",
    "checked",
    "collect",
    "collected",
    "corrections_of",
    "folder_of",
    "hand_off",
    "handed_off",
    "ingest",
    "plain",
    "plan",
    "regroup",
    "report",
    "reported",
    "scan",
    "scanned",
    "stack_request",
    "steps",
    "tallied",
    "tally",
    "undo",
    "verify",
]


def __getattr__(name: str) -> object:
    """The name out of the module that it is at home in, imported now."""
    if name not in _HOME_OF:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    found: object = getattr(importlib.import_module(_HOME_OF[name]), name)
    globals()[name] = found
    return found


def __dir__() -> list[str]:
    return sorted({*globals(), *_HOME_OF})
