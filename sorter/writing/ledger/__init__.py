"""The ledger: what is to be done in a shoot, and what is done, in SQLite under .sorter."""

from sorter.writing.ledger.connection import FILE, HOLDER
from sorter.writing.ledger.questions import Ledger, Run, strangers
from sorter.writing.ledger.schema import FORM

__all__ = ["FILE", "FORM", "HOLDER", "Ledger", "Run", "strangers"]
