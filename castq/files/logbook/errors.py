"""What can go wrong with a log book, each in one sentence; a password never stands in one."""

from __future__ import annotations

import sqlite3
import sys
from collections.abc import Iterator
from contextlib import contextmanager

from castq.core.errors import Fault, InputError

GO_BACK = "run the log book's check, and go back to the last backup if it says so"
_FREE = "free the disk or choose another place, then enter it again; what was kept before is whole"
_RIGHTS = "ask for the right to write there, or choose another place"
_WAIT = "wait until the other program has finished, then enter it again"
_LOOK = "look whether the row is there before you enter it again"

# Beginnings of the names that SQLite gives its errors.
_SQLITE = {
    "SQLITE_FULL": ("the disk is full, nothing of this entry was kept", _FREE),
    "SQLITE_READONLY": ("is read-only", _RIGHTS),
    "SQLITE_PERM": ("is read-only", _RIGHTS),
    "SQLITE_BUSY": ("is locked by another program for too long", _WAIT),
    "SQLITE_LOCKED": ("is locked by another program for too long", _WAIT),
    "SQLITE_CORRUPT": ("is damaged or cut short", GO_BACK),
    "SQLITE_NOTADB": ("is not a log book", "name the file of a log book, or one that does not exist yet"),
    "SQLITE_CANTOPEN": ("cannot be opened", "check the path and the rights on the file and its folder"),
    # Whether the last row lies on the disk then, only the disk knows.
    "SQLITE_IOERR": ("the disk refuses to write or read", f"have it freed or checked, then {_LOOK}"),
    "SQLITE_TOOBIG": ("the entry is too long", "shorten it"),
    "SQLITE_CONSTRAINT_TRIGGER": ("refuses to change or remove a row", "enter a correction"),
    "SQLITE_CONSTRAINT": ("refuses a row that does not fit", GO_BACK),
    "SQLITE_ERROR": ("is damaged, or was made by something else", GO_BACK),
}
# Codes of the SQL standard and of PostgreSQL.
_POSTGRESQL = {
    "28": ("refuses this user or password", "check both; a password may stand in ~/.pgpass"),
    "3D000": ("holds no database of that name", "check the name, or have it made"),
    "42501": ("does not give this user the right to do that", "ask for rights on the log book's tables"),
    "55P03": ("is locked by another program for too long", _WAIT),
    "57014": ("stopped the work because it took too long", _WAIT),
    "53100": ("the disk is full, nothing of this entry was kept", _FREE),
    "53": ("has no memory, disk or connection to spare", _WAIT),
    "40": ("was being written by another program at the same moment", _WAIT),
    "25006": ("is read-only", _RIGHTS),
    "P0001": ("refuses to change or remove a row", "enter a correction"),
    "23": ("refuses a row that does not fit", GO_BACK),
    "42": ("is damaged, or was made by something else", GO_BACK),
    "XX": ("is damaged", GO_BACK),
    "57P": ("is being shut down", _LOOK),
    "08": ("the connection broke", _LOOK),
}
# The server answers a refused connection without a code; its language may be any, then the last sentence holds.
_REFUSED = {
    "password authentication failed": _POSTGRESQL["28"],
    "no password supplied": _POSTGRESQL["28"],
    "authentication failed": _POSTGRESQL["28"],
    "does not exist": _POSTGRESQL["3D000"],
}
_NO_ANSWER = ("cannot be reached, or the connection broke", f"check address, user and password, and {_LOOK}")


class StorageError(InputError):
    """A log book cannot be opened, read or written."""


def storage_error(place: str, found: str, mend: str) -> StorageError:
    """Return a `StorageError` with a single fault (raise it yourself)."""
    return StorageError(Fault(place, "", found, "", mend))


@contextmanager
def in_one_sentence(place: str) -> Iterator[None]:
    """Turn every error of a database into a `StorageError`.

    Parameters
    ----------
    place : str
        Name of the book, without a password.
    """
    from sqlalchemy import exc

    try:
        yield
    except UnicodeDecodeError:
        # Damage can reach the very words in which SQLite tells of it.
        raise storage_error(place, *_SQLITE["SQLITE_CORRUPT"]) from None
    except exc.TimeoutError:
        raise storage_error(place, "is in use by too many at once", _WAIT) from None
    except exc.DBAPIError as error:
        raise storage_error(place, *_sentence(error.orig)) from None
    except _driver_errors() as error:
        raise storage_error(place, *_sentence(error)) from None


def _driver_errors() -> tuple[type[Exception], ...]:
    """Return what drivers raise where SQLAlchemy does not stand between; psycopg only if it is in use at all."""
    loaded = sys.modules.get("psycopg")
    return (sqlite3.Error, loaded.Error) if loaded else (sqlite3.Error,)


def _sentence(error: BaseException | None) -> tuple[str, str]:
    return _of_sqlite(error) if isinstance(error, sqlite3.Error) else _of_postgresql(error)


def _of_sqlite(error: sqlite3.Error) -> tuple[str, str]:
    name = getattr(error, "sqlite_errorname", None) or "SQLITE_ERROR"
    if "decode" in str(error):
        name = "SQLITE_CORRUPT"
    return next((words for start, words in _SQLITE.items() if name.startswith(start)), _SQLITE["SQLITE_ERROR"])


def _of_postgresql(error: BaseException | None) -> tuple[str, str]:
    code = getattr(error, "sqlstate", None)
    if code:
        return next((words for start, words in _POSTGRESQL.items() if code.startswith(start)), _NO_ANSWER)
    return next((words for start, words in _REFUSED.items() if start in str(error)), _NO_ANSWER)
