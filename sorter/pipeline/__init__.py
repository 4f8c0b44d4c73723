"""The stages in order, called by the commands."""

from __future__ import annotations

from sorter.disk.output import Output, check_folder, check_target
from sorter.handoff.numbers import parse_numbers
from sorter.manifest.checks import checks_bytes, checks_document
from sorter.manifest.corrections import read_corrections
from sorter.manifest.document import document
from sorter.manifest.tallies import tally_document
from sorter.model.subject import Checked
from sorter.pipeline.against import CardSide, against_card
from sorter.pipeline.applying import apply, end_regrouping
from sorter.pipeline.checking import check_card, check_shoot, is_shoot
from sorter.pipeline.collecting import collect
from sorter.pipeline.handing import hand_off
from sorter.pipeline.ingesting import Ingest
from sorter.pipeline.keeping import Undo
from sorter.pipeline.merging import merge
from sorter.pipeline.noting import check_outputs, write_checks, write_suggested, write_table
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
    covered,
    draw,
    estimated_magnification,
    is_near,
    steps,
)
from sorter.pipeline.tallying import check_apart_from_shoots, tally, write_tally
from sorter.pipeline.verifying import Verification, Verified, verify, verify_both
from sorter.pipeline.wishes import Report, SecondCopy, Ticks, Wishes
from sorter.pipeline.working import Workers, default_jobs
from sorter.planning.pattern import DEFAULT as DEFAULT_FOLDER
from sorter.writing.undo import Undone
from sorter.writing.verify import Findings

__all__ = [
    "DEFAULT_FOLDER",
    "ESTIMATED",
    "FULL_STOPS",
    "NEAR",
    "CardSide",
    "Checked",
    "Findings",
    "Ingest",
    "IngestPlan",
    "Output",
    "Regrouped",
    "Report",
    "Reported",
    "SecondCopy",
    "Ticks",
    "Undo",
    "Undone",
    "Verification",
    "Verified",
    "Wishes",
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
