"""Run the castq command in this process and keep what it says."""

from __future__ import annotations

import contextlib
import io
from dataclasses import dataclass

from castq.cli.main import run


@dataclass(frozen=True)
class Said:
    """Exit code, stdout and stderr of one call."""

    code: int
    out: str
    err: str


def castq(*words: object) -> Said:
    """Run `castq WORDS` and return what it said."""
    out, err = io.StringIO(), io.StringIO()
    code = 0
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
        try:
            run([str(word) for word in words])
        except SystemExit as end:
            code = int(end.code or 0)
    return Said(code, out.getvalue(), err.getvalue())
