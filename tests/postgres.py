"""A PostgreSQL server of the tests' own, in a temporary folder, from whatever packages the system has."""

from __future__ import annotations

import os
import shutil
import subprocess
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

PLACES = "/usr/lib/postgresql"
ABSENT = "PostgreSQL is not here: as root, apt-get install postgresql"


def programs() -> Path | None:
    """The folder of the newest server's programs, or None."""
    found = [path.parent for path in Path(PLACES).glob("*/bin/initdb")]
    beside = shutil.which("initdb")
    found = sorted(found, key=lambda path: int(path.parent.name)) or ([Path(beside).parent] if beside else [])
    return found[-1] if found and (found[-1] / "pg_ctl").exists() else None


class Server:
    """A running server; its databases are reached through a socket in its folder."""

    def __init__(self, folder: Path, bin_folder: Path) -> None:
        self.folder = folder
        self.bin = bin_folder
        self.databases = 0

    def run(self, *command: str) -> None:
        """Run one of its programs, as a user who may: the server refuses root."""
        whole = [str(self.bin / command[0]), *command[1:]]
        if os.geteuid() == 0:
            user, group = unprivileged()
            whole = ["setpriv", f"--reuid={user}", f"--regid={group}", "--clear-groups", *whole]
        done = subprocess.run(whole, cwd=self.folder, capture_output=True, text=True, check=False, timeout=60)
        assert done.returncode == 0, done.stdout + done.stderr

    def start(self) -> None:
        """Start it, and wait until it answers."""
        options = f"-k {self.folder} -c listen_addresses='' -c max_connections=40 -c fsync=off"
        data, log = str(self.folder / "data"), str(self.folder / "log")
        self.run("pg_ctl", "-D", data, "-l", log, "-w", "-o", options, "start")

    def stop(self, how: str = "immediate") -> None:
        """Stop it; "immediate" as a crash would."""
        self.run("pg_ctl", "-D", str(self.folder / "data"), "-w", "-m", how, "stop")

    def url(self, database: str, user: str = "owner") -> str:
        """Where a database is."""
        return f"postgresql+psycopg://{user}@/{database}?host={self.folder}"

    def say(self, *statements: str, database: str = "postgres") -> list[tuple[object, ...]]:
        """Statements run one by one by the server's owner; the rows of the last."""
        import psycopg

        target = f"host={self.folder} user=owner dbname={database}"
        with psycopg.connect(target, autocommit=True) as connection:
            for statement in statements:
                rows = connection.execute(statement)  # type: ignore[call-overload]
            return list(rows.fetchall()) if rows.description else []

    def new_database(self) -> str:
        """The URL of an empty database."""
        self.databases += 1
        name = f"store{self.databases}"
        self.say(f"CREATE DATABASE {name}")
        return self.url(name)


def database_of(url: str) -> str:
    """The name of the database behind a URL of this server."""
    return url.partition("@/")[2].partition("?")[0]


def unprivileged() -> tuple[int, int]:
    """User and group that are not root's."""
    import pwd

    known = {user.pw_name: (user.pw_uid, user.pw_gid) for user in pwd.getpwall()}
    return known.get("postgres") or known["nobody"]


@contextmanager
def running(bin_folder: Path) -> Iterator[Server]:
    """A server for as long, in a folder that its user may enter."""
    folder = Path(tempfile.mkdtemp(prefix="valvelab-pg-", dir="/tmp"))
    try:
        if os.geteuid() == 0:
            os.chown(folder, *unprivileged())
        server = Server(folder, bin_folder)
        server.run("initdb", "-D", str(folder / "data"), "-U", "owner", "-A", "trust", "-E", "UTF8", "--no-sync")
        server.start()
        try:
            yield server
        finally:
            server.stop()
    finally:
        shutil.rmtree(folder, ignore_errors=True)
