"""The command that serves the page: what it refuses, what it says, and that it stops."""

from __future__ import annotations

import http.client
import signal
import socket
import subprocess
import sys
import time
from pathlib import Path

import pytest

from castq.core.errors import InputError
from castq.page.settings import check_host_name, is_loopback
from tests.cli.run import castq


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["--host", "0.0.0.0"], "opens the page to other machines"),
        (["--host", "0.0.0.0", "--allow-host", "http://furnace-pc"], "is no name of a machine"),
        (["--host", "0.0.0.0", "--allow-host", "furnace-pc:80"], "is no name of a machine"),
        (["--allow-host", "0.0.0.0"], "is no name of a machine"),
        (["--zone", "Moon/Crater"], "is no time zone of this machine"),
        (["--alloy", "Gold"], "Gold"),
        (["--target", "12 ml/100g"], "0.02 to 0.6"),
        (["--host", "203.0.113.7", "--allow-host", "furnace-pc"], "cannot be served"),
    ],
)  # fmt: skip
def test_what_cannot_be_served_is_refused_in_one_sentence(tmp_path: Path, words: list[str], said: str) -> None:
    done = castq("melt", "page", "--book", str(tmp_path / "book.db"), *words)
    assert done.code == 2
    assert said in done.err and "Traceback" not in done.err


def test_names_and_addresses() -> None:
    assert all(map(is_loopback, ("127.0.0.1", "127.9.0.1", "::1", "[::1]", "localhost")))
    assert not any(map(is_loopback, ("0.0.0.0", "::", "192.168.1.20", "furnace-pc", "localhost.example")))
    for name in ("furnace-pc", "192.168.1.20", "a.b.example", "[fe80::1]"):
        check_host_name(name)
    for name in ("", "*", "a b", "a/b", "a:1", "http://a", "[::]", "ä.example", "a" * 300, "0.0.0.0"):
        with pytest.raises(InputError):
            check_host_name(name)


def test_it_serves_on_this_machine_only_and_stops(tmp_path: Path) -> None:
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    words = ["melt", "page", "--book", str(tmp_path / "book.db"), "--port", str(port), "--zone", "Europe/Berlin"]
    process = subprocess.Popen([sys.executable, "-m", "castq", *words], stdout=subprocess.PIPE, stderr=subprocess.PIPE,
                               text=True, cwd=tmp_path)  # fmt: skip
    try:
        assert _status(port) == 200
        listening = [line.split()[1] for line in Path("/proc/net/tcp").read_text().splitlines()[1:]
                     if line.split()[3] == "0A" and line.split()[1].endswith(f":{port:04X}")]  # fmt: skip
        assert listening == [f"0100007F:{port:04X}"]
        second = castq(*words)
        assert second.code == 2 and "cannot be served" in second.err
        process.send_signal(signal.SIGINT)
        out, err = process.communicate(timeout=15)
    finally:
        process.kill()
    assert f"http://127.0.0.1:{port}/ (this machine only" in out
    assert "Traceback" not in err
    assert process.returncode in {0, 130}


def _status(port: int) -> int:
    end = time.monotonic() + 20.0
    while time.monotonic() < end:
        try:
            line = http.client.HTTPConnection("127.0.0.1", port, timeout=5)
            line.request("GET", "/")
            return line.getresponse().status
        except OSError:
            time.sleep(0.1)
    return 0


def test_without_its_packages_it_says_how_to_get_them(tmp_path: Path) -> None:
    code = (
        "import sys; sys.modules['uvicorn'] = None; from castq.cli.main import run; "
        f"run(['melt', 'page', '--book', {str(tmp_path / 'book.db')!r}])"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, timeout=60, check=False)
    assert done.returncode == 2
    assert (
        "needs the package 'uvicorn', which is not installed; install it with: pip install 'castq[shop]'" in done.stderr
    )
