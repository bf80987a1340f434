"""The log book of the melt shop: rows that are only ever added, in a hash chain, in SQLite or PostgreSQL."""

from castq.core.clock import SYSTEM_CLOCK
from castq.files.logbook.entry import KINDS, Backup, Entry, Head, NewEntry, VerifyResult
from castq.files.logbook.errors import StorageError
from castq.files.logbook.opening import open_book

__all__ = ["KINDS", "SYSTEM_CLOCK", "Backup", "Entry", "Head", "NewEntry", "StorageError", "VerifyResult", "open_book"]
