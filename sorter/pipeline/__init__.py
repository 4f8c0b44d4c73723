"""The stages in order; each name is imported when it is asked for (PEP 562)."""

from __future__ import annotations

import importlib
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from sorter.disk.output import Output, check_folder, check_target
    from sorter.handoff.numbers import parse_numbers
    from sorter.manifest.checks import checks_bytes, checks_document
    from sorter.manifest.corrections import read_corrections
    from sorter.manifest.document import document
    from sorter.manifest.tallies import tally_document
    from sorter.model.subject import Checked
    from sorter.pipeline.applying import apply, end_regrouping
    from sorter.pipeline.card_check import CardSide, against_card
    from sorter.pipeline.checking import check_card, check_shoot, is_shoot
    from sorter.pipeline.checks_files import (
        check_outputs,
        write_checks,
        write_suggested,
        write_table,
    )
    from sorter.pipeline.collecting import collect
    from sorter.pipeline.covering import covered
    from sorter.pipeline.handing import hand_off
    from sorter.pipeline.ingest_options import IngestOptions, StageProgress
    from sorter.pipeline.ingest_report import BackupReport, Report
    from sorter.pipeline.ingesting import Ingest
    from sorter.pipeline.merging import merge
    from sorter.pipeline.planned import IngestPlan
    from sorter.pipeline.regrouping import Regrouped, regroup
    from sorter.pipeline.reporting import Reported, report
    from sorter.pipeline.scanning import (
        check_apart,
        scan,
        unread_files,
        with_clocks_set,
        write_corrections,
        write_manifest,
    )
    from sorter.pipeline.stepping import (
        ESTIMATED,
        FULL_STOPS,
        NEAR,
        circle_of,
        draw,
        estimated_magnification,
        is_near,
        steps,
    )
    from sorter.pipeline.tallying import check_apart_from_shoots, tally, write_tally
    from sorter.pipeline.undoing import Undo
    from sorter.pipeline.verifying import Verification, Verified, verify, verify_both
    from sorter.pipeline.working import Workers, default_jobs
    from sorter.planning.pattern import DEFAULT as DEFAULT_FOLDER
    from sorter.writing.undo import Undone
    from sorter.writing.verify import Findings

_HOME_OF: Final[dict[str, tuple[str, str]]] = {
    "CardSide": ("sorter.pipeline.card_check", "CardSide"),
    "Checked": ("sorter.model.subject", "Checked"),
    "DEFAULT_FOLDER": ("sorter.planning.pattern", "DEFAULT"),
    "ESTIMATED": ("sorter.pipeline.stepping", "ESTIMATED"),
    "FULL_STOPS": ("sorter.pipeline.stepping", "FULL_STOPS"),
    "Findings": ("sorter.writing.verify", "Findings"),
    "Ingest": ("sorter.pipeline.ingesting", "Ingest"),
    "IngestPlan": ("sorter.pipeline.planned", "IngestPlan"),
    "NEAR": ("sorter.pipeline.stepping", "NEAR"),
    "Output": ("sorter.disk.output", "Output"),
    "Regrouped": ("sorter.pipeline.regrouping", "Regrouped"),
    "Report": ("sorter.pipeline.ingest_report", "Report"),
    "Reported": ("sorter.pipeline.reporting", "Reported"),
    "BackupReport": ("sorter.pipeline.ingest_report", "BackupReport"),
    "StageProgress": ("sorter.pipeline.ingest_options", "StageProgress"),
    "Undo": ("sorter.pipeline.undoing", "Undo"),
    "Undone": ("sorter.writing.undo", "Undone"),
    "Verification": ("sorter.pipeline.verifying", "Verification"),
    "Verified": ("sorter.pipeline.verifying", "Verified"),
    "IngestOptions": ("sorter.pipeline.ingest_options", "IngestOptions"),
    "Workers": ("sorter.pipeline.working", "Workers"),
    "against_card": ("sorter.pipeline.card_check", "against_card"),
    "apply": ("sorter.pipeline.applying", "apply"),
    "check_apart": ("sorter.pipeline.scanning", "check_apart"),
    "check_apart_from_shoots": ("sorter.pipeline.tallying", "check_apart_from_shoots"),
    "check_card": ("sorter.pipeline.checking", "check_card"),
    "check_folder": ("sorter.disk.output", "check_folder"),
    "check_outputs": ("sorter.pipeline.checks_files", "check_outputs"),
    "check_shoot": ("sorter.pipeline.checking", "check_shoot"),
    "check_target": ("sorter.disk.output", "check_target"),
    "checks_bytes": ("sorter.manifest.checks", "checks_bytes"),
    "checks_document": ("sorter.manifest.checks", "checks_document"),
    "circle_of": ("sorter.pipeline.stepping", "circle_of"),
    "collect": ("sorter.pipeline.collecting", "collect"),
    "covered": ("sorter.pipeline.covering", "covered"),
    "default_jobs": ("sorter.pipeline.working", "default_jobs"),
    "document": ("sorter.manifest.document", "document"),
    "draw": ("sorter.pipeline.stepping", "draw"),
    "end_regrouping": ("sorter.pipeline.applying", "end_regrouping"),
    "estimated_magnification": ("sorter.pipeline.stepping", "estimated_magnification"),
    "hand_off": ("sorter.pipeline.handing", "hand_off"),
    "is_near": ("sorter.pipeline.stepping", "is_near"),
    "is_shoot": ("sorter.pipeline.checking", "is_shoot"),
    "merge": ("sorter.pipeline.merging", "merge"),
    "parse_numbers": ("sorter.handoff.numbers", "parse_numbers"),
    "read_corrections": ("sorter.manifest.corrections", "read_corrections"),
    "regroup": ("sorter.pipeline.regrouping", "regroup"),
    "report": ("sorter.pipeline.reporting", "report"),
    "scan": ("sorter.pipeline.scanning", "scan"),
    "steps": ("sorter.pipeline.stepping", "steps"),
    "tally": ("sorter.pipeline.tallying", "tally"),
    "tally_document": ("sorter.manifest.tallies", "tally_document"),
    "unread_files": ("sorter.pipeline.scanning", "unread_files"),
    "verify": ("sorter.pipeline.verifying", "verify"),
    "verify_both": ("sorter.pipeline.verifying", "verify_both"),
    "with_clocks_set": ("sorter.pipeline.scanning", "with_clocks_set"),
    "write_checks": ("sorter.pipeline.checks_files", "write_checks"),
    "write_corrections": ("sorter.pipeline.scanning", "write_corrections"),
    "write_manifest": ("sorter.pipeline.scanning", "write_manifest"),
    "write_suggested": ("sorter.pipeline.checks_files", "write_suggested"),
    "write_table": ("sorter.pipeline.checks_files", "write_table"),
    "write_tally": ("sorter.pipeline.tallying", "write_tally"),
}
"""Where each name is at home, and what it is called there."""

__all__ = [
    "DEFAULT_FOLDER",
    "ESTIMATED",
    "FULL_STOPS",
    "NEAR",
    "BackupReport",
    "CardSide",
    "Checked",
    "Findings",
    "Ingest",
    "IngestOptions",
    "IngestPlan",
    "Output",
    "Regrouped",
    "Report",
    "Reported",
    "StageProgress",
    "Undo",
    "Undone",
    "Verification",
    "Verified",
    "Workers",
    "against_card",
    "apply",
    "check_apart",
    "check_apart_from_shoots",
    "check_card",
    "check_folder",
    "check_outputs",
    "check_shoot",
    "check_target",
    "checks_bytes",
    "checks_document",
    "circle_of",
    "collect",
    "covered",
    "default_jobs",
    "document",
    "draw",
    "end_regrouping",
    "estimated_magnification",
    "hand_off",
    "is_near",
    "is_shoot",
    "merge",
    "parse_numbers",
    "read_corrections",
    "regroup",
    "report",
    "scan",
    "steps",
    "tally",
    "tally_document",
    "unread_files",
    "verify",
    "verify_both",
    "with_clocks_set",
    "write_checks",
    "write_corrections",
    "write_manifest",
    "write_suggested",
    "write_table",
    "write_tally",
]


def __getattr__(name: str) -> object:
    """The name out of the module that it is at home in, imported now."""
    if name not in _HOME_OF:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    home, own = _HOME_OF[name]
    found: object = getattr(importlib.import_module(home), own)
    globals()[name] = found
    return found
