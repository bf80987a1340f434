"""The journal of solved variants: one line a solve, only ever added to, so that a long study can be taken up again.

First line: what is studied. Each further line: the key of a variant, the variant, and its outcome. A last line that was
cut off by a crash is left out and solved again.
"""

from __future__ import annotations

import fcntl
import json
import os
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import IO, Any

from castq import __version__
from castq.core.errors import InputError, input_error, plain
from castq.files.atomic import check_out
from castq.screening.levers import Change
from castq.screening.outcome import Outcome
from castq.screening.variant import Basis, fingerprint, key_of
from castq.screening.workers import Done

NAME = "solves.jsonl"
KIND = "castq solves"
FORM = 1
Solver = Callable[[Basis, Sequence[Change], Done], None]


@dataclass(frozen=True, slots=True)
class Study:
    """What a journal belongs to; two studies are the same when their fingerprint is.

    Attributes
    ----------
    case : str
        Name of the case.
    files : tuple of str
        Names of the files it was read from.
    draws, seed : int
        Number and seed of the draws [-].
    depth : str
        Depth of the solves.
    castq : str
        Version of castq.
    basis : str
        Fingerprint.
    """

    case: str
    files: tuple[str, ...]
    draws: int
    seed: int
    depth: str
    castq: str
    basis: str

    def to_dict(self) -> dict[str, Any]:
        """Return the first line of the journal."""
        return {"journal": KIND, "form": FORM, **{name: getattr(self, name) for name in self.__slots__}}


def study_of(basis: Basis) -> Study:
    """Return what a journal of this basis belongs to.

    Parameters
    ----------
    basis : Basis
        The case, its draws and its depth.
    """
    state = basis.state
    files = tuple(dict.fromkeys(item.name for item in state.case.inputs))
    return Study(state.case.name, files, basis.draws, basis.seed, state.depth, __version__, fingerprint(basis))


class Journal:
    """A journal file that is open, locked against a second castq.

    Attributes
    ----------
    solved : dict of key to Outcome
        What it holds.
    """

    def __init__(self, path: Path, study: Study, *, anew: bool = False) -> None:
        """Open a journal, or begin one.

        Parameters
        ----------
        path : Path
            The file; its folder must exist.
        study : Study
            What is studied.
        anew : bool
            True to begin anew whatever the file holds.

        Raises
        ------
        InputError
            If it belongs to another study, is damaged, in use, or cannot be written.
        """
        self.path, self.study = path, study
        self.solved: dict[str, Outcome] = {}
        try:
            self._stream: IO[bytes] = path.open("a+b")
        except OSError as error:
            raise self._error("", f"cannot be written ({error.strerror})", "choose another folder") from error
        try:
            self._lock()
            if anew:
                self._stream.truncate(0)
            self._read()
        except BaseException:
            self._stream.close()
            raise

    def _lock(self) -> None:
        try:
            fcntl.flock(self._stream, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except OSError:
            raise self._error("", "another castq is at work in this folder", "wait for it, or choose another folder"
                              ) from None  # fmt: skip

    def _read(self) -> None:
        self._stream.seek(0)
        data = self._stream.read()
        whole = data[: data.rfind(b"\n") + 1]
        lines = whole.splitlines()
        if not lines:
            self._stream.truncate(0)
            self._write(self.study.to_dict())
            return
        self._check_study(self._parsed(lines[0], 1))
        for number, line in enumerate(lines[1:], start=2):
            row = self._parsed(line, number)
            try:
                self.solved[str(row["key"])] = Outcome.from_dict(row["outcome"])
            except (KeyError, TypeError, ValueError, AttributeError):
                raise self._damaged(number) from None
        # A line without an end was being written when castq was stopped.
        self._stream.truncate(len(whole))

    def _parsed(self, line: bytes, number: int) -> dict[str, Any]:
        try:
            row = json.loads(line)
        except (ValueError, RecursionError):
            raise self._damaged(number) from None
        if not isinstance(row, dict):
            raise self._damaged(number)
        return row

    def _check_study(self, head: dict[str, Any]) -> None:
        if head.get("journal") != KIND or head.get("form") != FORM:
            raise self._error("line 1", "is no journal of this castq", "choose another folder")
        if head.get("basis") == self.study.basis:
            return
        mend = "choose another folder, or give --force to begin anew"
        for name, words in (("case", "case"), ("castq", "castq version"), ("draws", "number of draws"),
                            ("seed", "seed"), ("depth", "depth")):  # fmt: skip
            ours, theirs = getattr(self.study, name), plain(head.get(name), 100)
            if theirs != plain(ours, 100):
                raise self._error("", f"the folder holds solves of {words} '{theirs}', this is {words} '{ours}'", mend)
        files = plain(", ".join(map(str, head.get("files") or ())), 100)
        raise self._error("", f"the folder holds solves of another state of '{self.study.case}' ({files})", mend)

    def _damaged(self, number: int) -> InputError:
        return self._error(f"line {number}", "is damaged", "remove that line, or give --force to begin anew")

    def _error(self, place: str, found: str, mend: str) -> InputError:
        return input_error(self.path, place, found, "", mend)

    def _write(self, row: dict[str, Any]) -> None:
        text = json.dumps(row, ensure_ascii=True, separators=(",", ":"), allow_nan=False)
        try:
            self._stream.write(text.encode("ascii") + b"\n")
            self._stream.flush()
            os.fsync(self._stream.fileno())
        except OSError as error:
            raise self._error("", f"cannot be written ({error.strerror})", "free the disk, then run the same command"
                              ) from error  # fmt: skip

    def add(self, key: str, change: Change, outcome: Outcome) -> None:
        """Add one solved variant; it is on the disk when this returns.

        Parameters
        ----------
        key : str
            Key of the variant.
        change : Change
            The variant.
        outcome : Outcome
            Its result.
        """
        self._write({"key": key, "change": [list(pair) for pair in change], "outcome": outcome.to_dict()})
        self.solved[key] = outcome

    def close(self) -> None:
        """Close the file and give up the lock."""
        self._stream.close()


def study_folder(out: Path, force: bool) -> Path:
    """Return the folder of a study: a new or empty one, or one that holds a journal; nothing is written.

    Parameters
    ----------
    out : Path
        The folder.
    force : bool
        True when it may hold other files.

    Raises
    ------
    InputError
        If it cannot be used.
    """
    return check_out(out, force or (out / NAME).is_file())


def open_journal(folder: Path, basis: Basis, force: bool) -> Journal:
    """Return the journal of a study in its folder, made when it is not there.

    Parameters
    ----------
    folder : Path
        From `study_folder`.
    basis : Basis
        What is studied.
    force : bool
        True to begin anew when the journal cannot be gone on with.

    Raises
    ------
    InputError
        If it belongs to another study, is damaged, in use, or cannot be written.
    """
    folder.mkdir(exist_ok=True)
    return Journal(folder / NAME, study_of(basis), anew=force)


class Solves:
    """Solves variants, each once: what a journal holds already is taken from it.

    Attributes
    ----------
    solved : int
        Variants solved here, so not found in the journal [-].
    """

    def __init__(self, basis: Basis, solver: Solver, journal: Journal | None = None, told: Callable[[int, int], None]
                 | None = None) -> None:  # fmt: skip
        """Set up.

        Parameters
        ----------
        basis : Basis
            What the variants share.
        solver : callable
            Solves variants and hands each outcome over.
        journal : Journal, optional
            Where outcomes are kept; only in memory without one.
        told : callable, optional
            Called with the number of variants finished and asked for, after each one.
        """
        self._basis, self._solver, self._journal, self._told = basis, solver, journal, told
        self._sha256 = journal.study.basis if journal else fingerprint(basis)
        self._known: dict[str, Outcome] = journal.solved if journal else {}
        self._before = frozenset(self._known)
        self._taken: set[str] = set()
        self.solved = 0

    @property
    def journal_keys(self) -> frozenset[str]:
        """Keys of the variants that the journal held before."""
        return self._before

    @property
    def found(self) -> int:
        """Variants asked for that the journal held before [-]."""
        return len(self._taken)

    def __call__(self, changes: Sequence[Change]) -> list[Outcome]:
        """Return the outcomes of variants, in their order.

        Parameters
        ----------
        changes : sequence of Change
            The variants.
        """
        keys = {change: key_of(self._sha256, change) for change in changes}
        missing = [change for change, key in keys.items() if key not in self._known]
        self._taken |= self._before & set(keys.values())
        finished = len(keys) - len(missing)

        def done(change: Change, outcome: Outcome) -> None:
            nonlocal finished
            if self._journal:
                self._journal.add(keys[change], change, outcome)
            self._known[keys[change]] = outcome
            self.solved += 1
            finished += 1
            if self._told:
                self._told(finished, len(keys))

        if missing:
            self._solver(self._basis, missing, done)
        return [self._known[keys[change]] for change in changes]
