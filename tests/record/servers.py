"""A real PostgreSQL server of the tests' own: made, started and removed by them, reached by a unix socket alone."""

from __future__ import annotations

import os
import pwd
import shutil
import subprocess
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from itertools import count
from pathlib import Path
from typing import Any

PROGRAMS = "/usr/lib/postgresql/*/bin"
MISSING = (
    f"the tests of the record need a PostgreSQL server, and there is none in {PROGRAMS}: "
    "run .ci/setup --test, or apt-get install postgresql"
)
_UNSAFE = ("fsync=off",)
"""For the test server alone, which is thrown away: nothing in it has to outlive a power cut. No clinic sets it so."""


@dataclass
class Server:
    """A running server. ``programs``: where its programs lie; ``sockets``: the folder of its socket."""

    programs: Path
    sockets: Path
    data: Path
    process: subprocess.Popen[bytes]
    _names: Iterator[int] = field(default_factory=count)
    _free: list[str] = field(default_factory=list)

    def address(self, database: str = "postgres") -> str:
        """For ``consent.record.place.Place``."""
        return f"postgresql://postgres@/{database}?host={self.sockets}"

    def lend_database(self) -> str:
        """The name of an empty database: one that was given back, or a new one, which takes a fifth of a second."""
        if self._free:
            return self._free.pop()
        name = f"record_{next(self._names)}"
        self.run(f"CREATE DATABASE {name}")
        return name

    def take_back(self, name: str) -> None:
        """Put everybody out of the database ``name``, and empty it for the next."""
        self.run(f"SELECT pg_terminate_backend(pid, 5000) FROM pg_stat_activity WHERE datname = '{name}'")  # noqa: S608
        self.run(f"ALTER DATABASE {name} RESET ALL")
        self.run("DROP SCHEMA public CASCADE; CREATE SCHEMA public", name)
        self._free.append(name)

    def run(self, statement: str, database: str = "postgres") -> list[tuple[Any, ...]]:
        """The rows that one statement answers, past the program under test."""
        import psycopg

        with psycopg.connect(self.address(database), autocommit=True) as connection:
            answer = connection.execute(statement)  # type: ignore[arg-type]
            return answer.fetchall() if answer.description else []


@contextmanager
def running_server(settings: tuple[str, ...] = _UNSAFE) -> Iterator[Server]:
    """A server in a folder of its own, so that several test processes have several; stopped and removed at the end."""
    programs = find_programs()
    folder = Path(tempfile.mkdtemp(prefix="consent-pg-"))
    try:
        folder.chmod(0o755)
        data, sockets = folder / "data", folder / "s"
        _initialise(programs, folder, data, sockets)
        process = _start(programs, data, sockets, settings)
        try:
            server = Server(programs, sockets, data, process)
            _wait(server)
            yield server
        finally:
            _stop(process)
    finally:
        shutil.rmtree(folder, ignore_errors=True)


def find_programs() -> Path:
    """The folder of the newest server's programs. Raises ``AssertionError`` that says what to install."""
    found = sorted(Path("/").glob(f"{PROGRAMS[1:]}/initdb"), key=lambda path: float(path.parent.parent.name))
    assert found, MISSING
    return found[-1].parent


def _another_user() -> dict[str, Any]:
    """How to start a program as somebody else where the tests run as root: a server refuses to be root's."""
    if os.geteuid() != 0:
        return {}
    known = {entry.pw_name: entry for entry in pwd.getpwall()}
    other = known.get("postgres") or known["nobody"]
    return {"user": other.pw_uid, "group": other.pw_gid, "extra_groups": []}


def _initialise(programs: Path, folder: Path, data: Path, sockets: Path) -> None:
    sockets.mkdir()
    user = _another_user()
    if user:
        for path in (folder, sockets):
            os.chown(path, user["user"], user["group"])
    options = ("--auth=trust", "--username=postgres", "--encoding=UTF8", "--locale=C", "--no-sync")
    made = subprocess.run(
        [programs / "initdb", *options, "-D", data], capture_output=True, text=True, check=False, cwd=folder, **user
    )
    assert made.returncode == 0, f"initdb: {made.stderr}"


def _start(programs: Path, data: Path, sockets: Path, more: tuple[str, ...]) -> subprocess.Popen[bytes]:
    settings = ("listen_addresses=", f"unix_socket_directories={sockets}", "max_connections=40", *more)
    options = [part for setting in settings for part in ("-c", setting)]
    with (data.parent / "log").open("wb") as log:
        # setpriv (util-linux) stops the server too where the tests are killed.
        return subprocess.Popen(
            ["setpriv", "--pdeathsig", "INT", "--", programs / "postgres", "-D", data, *options],
            stdout=log,
            stderr=log,
            cwd=data.parent,
            **_another_user(),
        )


def _wait(server: Server, seconds: float = 30) -> None:
    import psycopg

    until = time.monotonic() + seconds
    while True:
        try:
            server.run("SELECT 1")
            return
        except psycopg.OperationalError:
            log = (server.data.parent / "log").read_text()
            assert server.process.poll() is None and time.monotonic() < until, f"the server did not start: {log}"
            time.sleep(0.02)


def _stop(process: subprocess.Popen[bytes]) -> None:
    """Shut down at once ("immediate", SIGQUIT): nothing of it is kept."""
    with suppress(ProcessLookupError):
        process.send_signal(3)
    try:
        process.wait(20)
    except subprocess.TimeoutExpired:
        process.kill()
        process.wait()
