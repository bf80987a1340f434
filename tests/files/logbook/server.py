"""A PostgreSQL server of its own, in a temporary folder, reached through a socket in it and closed at the end."""

from __future__ import annotations

import os
import pwd
import secrets
import shutil
import subprocess
import tempfile
from pathlib import Path
from urllib.parse import quote

import psycopg

USER, DATABASE = "castq", "postgres"
# Debian's package makes this user; the server refuses to run as root.
_SERVER_USER = "postgres"


def programs() -> Path | None:
    """Return the folder of the newest installed server's programs."""
    found = sorted(Path("/usr/lib/postgresql").glob("*/bin/initdb"), key=lambda path: int(path.parts[-3]))
    if found:
        return found[-1].parent
    on_path = shutil.which("initdb")
    return Path(on_path).parent if on_path else None


class Server:
    def __init__(self, bin_folder: Path) -> None:
        self.bin = bin_folder
        self.folder = Path(tempfile.mkdtemp(prefix="castq-pg-", dir="/tmp"))
        self.password = "pass word/" + secrets.token_hex(4)
        secret = self.folder / "secret"
        secret.write_text(self.password)
        if os.geteuid() == 0:
            user = pwd.getpwnam(_SERVER_USER)
            for path in (self.folder, secret):
                os.chown(path, user.pw_uid, user.pw_gid)
        self.data = self.folder / "data"
        self._run("initdb", "-D", self.data, "-U", USER, "--auth=scram-sha-256", f"--pwfile={secret}", "--no-sync",
                  "-E", "UTF8", "--locale=C")  # fmt: skip
        self.start()
        self._schemas = 0

    def _run(self, program: str, *arguments: object) -> None:
        as_user = ["runuser", "-u", _SERVER_USER, "--"] if os.geteuid() == 0 else []
        command = [*as_user, str(self.bin / program), *map(str, arguments)]
        subprocess.run(command, check=True, cwd=self.folder, stdout=subprocess.DEVNULL, timeout=60)

    def start(self) -> None:
        options = f"-k {self.folder} -c listen_addresses=''"
        self._run("pg_ctl", "-D", self.data, "-w", "-l", self.folder / "log", "-o", options, "start")

    def stop(self, mode: str = "fast") -> None:
        """Stop it; mode `immediate` is as if the machine had gone down."""
        self._run("pg_ctl", "-D", self.data, "-m", mode, "-w", "stop")

    def close(self) -> None:
        self.stop("immediate")
        shutil.rmtree(self.folder, ignore_errors=True)

    def url(self, schema: str = "public", password: str | None = None, user: str = USER) -> str:
        word = quote(self.password if password is None else password, safe="")
        return (f"postgresql://{user}:{word}@/{DATABASE}?host={self.folder}"
                f"&options={quote(f'-csearch_path={schema}', safe='')}")  # fmt: skip

    def connect(self, schema: str = "public") -> psycopg.Connection:
        return psycopg.connect(host=str(self.folder), user=USER, password=self.password, dbname=DATABASE,
                               options=f"-csearch_path={schema}", autocommit=True)  # fmt: skip

    def new_schema(self) -> str:
        """Make an empty schema and return its name."""
        self._schemas += 1
        name = f"book{self._schemas}"
        with self.connect() as connection:
            connection.execute(f"CREATE SCHEMA {name}")
        return name
