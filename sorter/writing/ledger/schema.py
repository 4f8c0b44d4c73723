"""The ledger's tables: every column with the values that it may hold.

What is said of a file stands in columns of the same names wherever it stands: in `files` as it is, and in
`kept` as it was before an operation, or was to be after it. English stands in the ledger only where it came
in as English: the notes of readers, the reasons of systems, the grounds of a grouping.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from enum import StrEnum
from typing import Final

from sorter.model.damage import Damage
from sorter.model.finding import End, Unjudged, Verdict
from sorter.model.kinds import DriveMode, FocusMode, Kind, Role, Who
from sorter.model.note import WhyRenamed
from sorter.model.operation import OperationKind, OperationState
from sorter.model.plan import State
from sorter.model.relation_kind import RelationKind

FORMAT_VERSION: Final = 3
"""Grows when a sorter that knows the one before could not read the ledger any more."""
MOST: Final = 2**63 - 1
MOST_COUNTED: Final = 2**62
"""Of numbers that are counted on from: there is always one more."""

INTEGER, REAL, TEXT, BLOB = "INTEGER", "REAL", "TEXT", "BLOB"


@dataclass(frozen=True, slots=True, kw_only=True)
class Column:
    """A column. holds: its type in SQLite. among: the texts that it may hold; empty for any.

    least, most: of integers. may_lack: whether it may be NULL, for what is not known. key: it is the row's
    number, or refers to a table by that. is_path: the system takes it for a name. is_finite: it is never
    infinity.
    """

    name: str
    holds: str
    among: tuple[str, ...] = ()
    least: int = 0
    most: int = MOST_COUNTED
    may_lack: bool = False
    key: str = ""
    is_path: bool = False
    is_finite: bool = False

    @property
    def declared(self) -> str:
        """The column as CREATE TABLE has it."""
        return " ".join(
            part
            for part in (self.name, self.holds, self.key, "" if self.may_lack else "NOT NULL")
            if part
        )

    def is_sound(self, *, with_words: bool) -> str:
        """What holds of a sound value, in SQL; empty where SQLite itself holds to it.

        with_words: it is among the texts that it may be. Texts and bytes cannot be told to be others: what
        comes into a column of texts becomes one.
        """
        if self.holds == INTEGER:
            condition = f"({self.name} | 0) IS {self.name} AND {self.name} >= {self.least}"
            condition += f" AND {self.name} <= {self.most}" if self.most < MOST else ""
        elif self.holds == REAL:
            finite = f"{self.name} < 9e999 AND {self.name} > -9e999"
            # Texts and bytes are more than any number.
            condition = finite if self.is_finite else f"{self.name} <= 9e999"
        elif self.is_path:
            condition = f"instr(CAST({self.name} AS BLOB), x'00') = 0"
        elif self.among and with_words:
            condition = f"{self.name} IN ({', '.join(map(repr, map(str, self.among)))})"
        else:
            return ""
        return f"({self.name} IS NULL OR {condition})" if self.may_lack else f"({condition})"


@dataclass(frozen=True, slots=True, kw_only=True)
class Table:
    """A table. primary: the columns that tell its rows apart, where no column is a key by itself.

    is_long: it has a row a file; whether a word is one that it may be is found out when it is read.
    """

    name: str
    columns: tuple[Column, ...]
    primary: tuple[str, ...] = ()
    is_long: bool = False

    @property
    def names(self) -> tuple[str, ...]:
        """Its columns in their order."""
        return tuple(column.name for column in self.columns)

    @property
    def created(self) -> str:
        """The statement that makes it."""
        primary = [f"PRIMARY KEY ({', '.join(self.primary)})"] if self.primary else []
        parts = ",\n    ".join([*(column.declared for column in self.columns), *primary])
        return f"CREATE TABLE {self.name} (\n    {parts}\n)" + (" WITHOUT ROWID" if primary else "")

    @property
    def added(self) -> str:
        """The statement that adds a row, all columns in their order."""
        marks = ", ".join("?" * len(self.columns))
        return f"INSERT INTO {self.name} ({', '.join(self.names)}) VALUES ({marks})"  # noqa: S608  our own names

    @property
    def unsound(self) -> str:
        """The query for a row that holds what it must not."""
        known = (column.is_sound(with_words=not self.is_long) for column in self.columns)
        sound = " AND ".join(filter(None, known)) or "1"
        return f"SELECT 1 FROM {self.name} WHERE NOT ({sound}) LIMIT 1"  # noqa: S608  our own names


def _whole(*names: str, may_lack: bool = False, least: int = 0) -> Iterator[Column]:
    for name in names:
        yield Column(name=name, holds=INTEGER, may_lack=may_lack, least=least)


def _real(*names: str, is_finite: bool = True) -> Iterator[Column]:
    for name in names:
        yield Column(name=name, holds=REAL, may_lack=True, is_finite=is_finite)


def _path(name: str, holds: str = BLOB) -> Column:
    return Column(name=name, holds=holds, is_path=True)


def _text(*names: str) -> Iterator[Column]:
    for name in names:
        yield Column(name=name, holds=TEXT)


def _flag(name: str) -> Column:
    return Column(name=name, holds=INTEGER, most=1)


def _word(name: str, among: Iterable[str], *, may_lack: bool = False) -> Column:
    return Column(name=name, holds=TEXT, among=tuple(among), may_lack=may_lack)


def _names(words: type[StrEnum]) -> tuple[str, ...]:
    """Names rather than values, where the value is a wording that may change."""
    return tuple(each.name.lower() for each in words)


class NoteType(StrEnum):
    """What a note is."""

    TEXT = "text"
    DAMAGE = "damage"
    RELATED = "related"
    RENAMED = "renamed"
    NOT_CARRIED = "not_carried"


class NoteOrigin(StrEnum):
    """Whom a note is from: reading and grouping, or carrying."""

    ROW = "row"
    CARRYING = "carrying"


class When(StrEnum):
    """Whether it is what was said of a file before an operation, or what that made of it."""

    BEFORE = "before"
    AFTER = "after"


GROUPING: Final = (
    *_whole("frame", "sequence", may_lack=True),
    _word("kind", Kind),
    *_whole("position", "frames", "planned", may_lack=True),
    _word("role", Role),
    *_text("captured", "camera", "serial", "lens"),
    *_real("focal_length_mm", "f_number", "exposure_time_s", "iso", "exposure_bias_ev"),
    *_text("flash"),
    _word("focus_mode", FocusMode, may_lack=True),
    _word("drive_mode", DriveMode, may_lack=True),
    *_real("focus_near_m", "focus_far_m", is_finite=False),
    *_text("grounds"),
    _word("said_by", Who),
    *_whole("from_near", may_lack=True),
)
"""What reading and grouping say of a file: what an ingest that is taken back gives back."""
FACTS: Final = (
    _path("destination", TEXT),  # below the shoot; empty where it is never carried
    *_whole("bytes"),
    *_text("sha256"),  # of what is to lie in the shoot, once its bytes were read
    *_text("container"),
    _flag("unread"),  # not readable as what its name says
    Column(
        name="mark", holds=INTEGER, least=-MOST - 1, most=MOST
    ),  # over its first bytes when it was planned
    *GROUPING,
)
NOTES: Final = (
    _word("part", NoteOrigin),
    *_whole("place"),
    _word("what", NoteType),
    *_text("text"),  # a text, a damage, a new name, a reason
    _word("why", ("", *_names(RelationKind), *_names(WhyRenamed))),
    *_whole("sequence", may_lack=True),  # to which it stands so
)

OPERATIONS: Final = Table(
    name="operations",  # in the order in which they were begun
    columns=(
        Column(name="operation", holds=INTEGER, key="PRIMARY KEY"),
        _word("what", OperationKind),
        _word("progress", OperationState),
    ),
)
INGESTS: Final = Table(
    name="ingests",
    columns=(
        Column(name="run", holds=INTEGER, key="PRIMARY KEY"),
        Column(name="operation", holds=INTEGER, key="UNIQUE REFERENCES operations"),
        _path("card"),  # the folder as the system named it
        _flag("mounted"),  # a file system of its own was mounted there
        _flag("moves"),
        _flag("two"),  # a move into two copies
    ),
)
FILES: Final = Table(
    name="files",
    columns=(
        Column(name="number", holds=INTEGER, key="PRIMARY KEY"),
        Column(name="operation", holds=INTEGER, key="REFERENCES operations"),  # that brought it
        _path("source"),  # below the card, as the system named it
        _word("state", State),
        Column(
            name="modified_ns", holds=INTEGER, least=-MOST - 1, most=MOST
        ),  # the card's own stamp
        _flag("gone"),  # moved, and removed from the card
        *_whole(
            "given_bytes", may_lack=True
        ),  # of a file that the sorter wrote again out of another
        Column(name="given_sha256", holds=TEXT, may_lack=True),
        *FACTS,
    ),
    is_long=True,
)
NOTES_TABLE: Final = Table(
    name="notes",
    columns=(Column(name="number", holds=INTEGER), *NOTES),
    primary=("number", "part", "place"),
)
_OF_OPERATION: Final = (
    Column(name="operation", holds=INTEGER),
    Column(name="number", holds=INTEGER),
    _word("side", When),
)
KEPT: Final = Table(
    name="kept",
    columns=(*_OF_OPERATION, _path("source"), *FACTS),
    primary=("operation", "number", "side"),
    is_long=True,
)
KEPT_NOTES_TABLE: Final = Table(
    name="kept_notes",
    columns=(*_OF_OPERATION, *NOTES),
    primary=("operation", "number", "side", "part", "place"),
)
FINDINGS: Final = Table(
    name="findings",  # what the last check found, by the first file of each sequence
    columns=(
        Column(name="number", holds=INTEGER, key="PRIMARY KEY"),
        *_text("verbatim"),  # a sentence of format 1, where there are no facts
        *_whole("sequence"),
        _word("kind", Kind),
        *_whole("frames"),
        _word("verdict", Verdict, may_lack=True),
        _word("missing_end", End, may_lack=True),
        *_real("first_sharp_share", "last_sharp_share", is_finite=False),
        *_whole("keep_first", "keep_last", may_lack=True),
        *_real("drift_px", is_finite=False),
        _word("looks_like", Kind, may_lack=True),
        *_real("step_of_depth", "growth", is_finite=False),
        Column(name="nearward", holds=INTEGER, most=1, may_lack=True),
        *_real("wander_share", "explained", is_finite=False),
        _word("attempts_verdict", Verdict, may_lack=True),
        *_whole("attempts_frames"),
        *_real("fitting", is_finite=False),
        _word("unjudged", Unjudged, may_lack=True),
    ),
)
SINCE_3: Final = FINDINGS.columns[-2:]
"""Columns of findings that the second format had not."""
LISTS: Final = (
    "gaps",
    "jumps",
    "dark",
    "surplus",
    "best_frames",
    "attempts",
    "moved",
    "bright_steps",
    "unseen",
    "order",
    "odd",
    "too_small",
    "too_large",
    "megapixels",
    "bright_ev",
    "moved_boxes",
    "judged_at",
    "most_megapixels",
)
FRACTIONS: Final = ("bright_ev", "moved_boxes")
"""Those that are no positions."""
LISTED: Final = Table(
    name="found_at",  # positions of frames, or what stands for each of them
    columns=(
        Column(name="number", holds=INTEGER),
        _word("what", LISTS),
        *_whole("place"),
        Column(name="value", holds=REAL),
    ),
    primary=("number", "what", "place"),
)
CHECKED: Final = Table(
    name="checked",  # one row once a check noted its findings, were there none
    columns=(Column(name="checked", holds=INTEGER, key="PRIMARY KEY"),),
)
TABLES: Final = (
    OPERATIONS,
    INGESTS,
    FILES,
    NOTES_TABLE,
    KEPT,
    KEPT_NOTES_TABLE,
    FINDINGS,
    LISTED,
    CHECKED,
)
UNRELATED: Final = (
    (
        "SELECT 1 FROM (SELECT DISTINCT operation FROM files) WHERE operation NOT IN"
        " (SELECT operation FROM operations WHERE what IN ('ingest', 'result'))"
    ),
    (
        "SELECT 1 FROM ingests WHERE operation NOT IN"
        " (SELECT operation FROM operations WHERE what = 'ingest') OR card = x''"
    ),
    (
        "SELECT 1 FROM operations WHERE what = 'ingest'"
        " AND operation NOT IN (SELECT operation FROM ingests)"
    ),
    (
        "SELECT 1 FROM operations WHERE what IN ('regrouping', 'adoption')"
        " AND NOT EXISTS (SELECT 1 FROM ingests)"
    ),
)
"""Each finds what refers to nothing: a file or an ingest without its operation, a change of no files."""
DAMAGES: Final = _names(Damage)
INDEXES: Final = ("CREATE INDEX files_by_operation ON files (operation)",)
