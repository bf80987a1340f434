"""Ctrl-C: one sentence, exit code 130, and never in the middle of compiled code."""

from __future__ import annotations

import signal
import threading
import time

import pytest

from castq.cli import interrupt, main
from tests.cli.run import castq


def test_ctrl_c_ends_with_a_sentence_and_130(monkeypatch: pytest.MonkeyPatch) -> None:
    def stop(**_: object) -> None:
        raise SystemExit(130)

    monkeypatch.setattr(main, "app", stop)
    said = castq("demo")
    assert said.code == 130
    assert said.err == "castq: stopped; nothing half-written was left behind\n"


def test_ctrl_c_wrapped_by_compiled_code_is_no_fault_of_castq(monkeypatch: pytest.MonkeyPatch) -> None:
    def stop(**_: object) -> None:
        raise SystemError("returned a result with an exception set") from KeyboardInterrupt()

    monkeypatch.setattr(main, "app", stop)
    assert castq("demo").code == 130


def test_other_exit_codes_pass_unchanged() -> None:
    assert castq("bogus").code == 2


def test_ctrl_c_waits_while_the_compiler_is_at_work() -> None:
    seen: list[str] = []
    module = {"__name__": "numba.core.dispatcher", "signal": signal, "time": time, "seen": seen}
    exec("def work():\n signal.raise_signal(signal.SIGINT)\n time.sleep(0.12)\n seen.append('whole')\n", module)
    before = signal.getsignal(signal.SIGINT)
    with pytest.raises(KeyboardInterrupt), interrupt.safe_interrupts():
        module["work"]()
        time.sleep(2.0)
        seen.append("not stopped")
    assert seen == ["whole"]
    assert signal.getsignal(signal.SIGINT) is before


def test_a_thread_runs_without_a_handler() -> None:
    done: list[bool] = []

    def work() -> None:
        with interrupt.safe_interrupts():
            done.append(True)

    thread = threading.Thread(target=work)
    thread.start()
    thread.join()
    assert done == [True]
