"""The ledger: what is to be done in a shoot, and what is done, in SQLite under .sorter."""

from sorter.writing.ledger.connection import FILE, HOLDER
from sorter.writing.ledger.queries import IngestRun, Ledger, unknown_entries
from sorter.writing.ledger.schema import FORMAT_VERSION

__all__ = ["FILE", "FORMAT_VERSION", "HOLDER", "IngestRun", "Ledger", "unknown_entries"]
