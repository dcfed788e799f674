"""A PostgreSQL server for the tests: Debian's programs, a folder of its own, a Unix socket and nothing else."""

from __future__ import annotations

import ctypes
import itertools
import os
import pwd
import shutil
import signal
import subprocess
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

_SCHEMAS = itertools.count(1)


def programs() -> Path | None:
    """Return the folder of the newest server installed; None where there is none."""
    found = sorted(Path("/usr/lib/postgresql").glob("*/bin/initdb"), key=lambda path: int(path.parts[-3]))
    return found[-1].parent if found else None


def _unprivileged() -> dict[str, object]:
    """How to run the server, which refuses to be root: as the user made for it, or as nobody."""
    if os.geteuid() != 0:
        return {}
    names = {user.pw_name: user for user in pwd.getpwall()}
    user = names.get("postgres") or names["nobody"]
    return {"user": user.pw_uid, "group": user.pw_gid, "extra_groups": []}


@pytest.fixture(scope="session")
def server() -> Iterator[str]:
    """Give the address of a database on a server that is stopped at the end."""
    pytest.importorskip("psycopg", reason="psycopg is not installed")
    bin_folder = programs()
    if bin_folder is None:
        pytest.skip("no PostgreSQL server is installed in /usr/lib/postgresql")
    folder = Path(tempfile.mkdtemp(prefix="pile-"))  # short: the path of a socket has at most 107 bytes
    as_user = _unprivileged()
    try:
        if as_user:
            os.chown(folder, as_user["user"], as_user["group"])
        yield from _running(bin_folder, folder, as_user)
    finally:
        shutil.rmtree(folder, ignore_errors=True)


def _running(bin_folder: Path, folder: Path, as_user: dict[str, object]) -> Iterator[str]:
    make = [bin_folder / "initdb", "-D", folder / "data", "-U", "studio", "-A", "trust", "-E", "UTF8", "--locale=C"]
    subprocess.run([*make, "--no-sync"], check=True, capture_output=True, cwd=folder, **as_user)
    # No fsync: the machine does not fail in a test, only the programs that use the server do.
    start = [bin_folder / "postgres", "-D", folder / "data", "-k", folder, "-c", "listen_addresses=", "-c", "fsync=off"]
    with open(folder / "log", "wb") as log, subprocess.Popen(
        start, stdout=log, stderr=log, cwd=folder, start_new_session=True, preexec_fn=_end_with_parent, **as_user
    ) as process:
        try:
            address = f"postgresql://studio@/postgres?host={folder}"
            _wait_for(address, process, folder / "log")
            yield address
        finally:
            process.send_signal(signal.SIGINT)  # ends connections and stops
            process.wait(timeout=30)


def _end_with_parent() -> None:
    """Have Linux stop this program when the tests are killed, so that no server is left behind."""
    set_signal_of_parents_death = 1
    ctypes.CDLL(None).prctl(set_signal_of_parents_death, signal.SIGINT)


def _wait_for(address: str, process: subprocess.Popen[bytes], log: Path) -> None:
    import psycopg

    deadline = time.monotonic() + 30
    while True:
        try:
            psycopg.connect(address).close()
            return
        except psycopg.OperationalError:
            if process.poll() is not None or time.monotonic() > deadline:
                pytest.fail(f"PostgreSQL did not start:\n{log.read_text(errors='replace')}")
            time.sleep(0.05)


@pytest.fixture(params=["sqlite", "postgresql"])
def where(request: pytest.FixtureRequest, tmp_path: Path) -> str:
    """Give a place where there is no catalogue yet: a file, and then a schema of the server."""
    if request.param == "sqlite":
        return str(tmp_path / "pile.sqlite")
    return f"{request.getfixturevalue('server')}&schema=pile_{next(_SCHEMAS)}"
