"""Servers of pages and notebooks, started as a user starts them, and asked as a browser asks."""

from __future__ import annotations

import http.client
import json
import os
import signal
import subprocess
import sys
import time
import urllib.error
import urllib.request
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path
from urllib.parse import urlsplit

import psutil

STARTED_IN = 40.0  # seconds: on a busy computer
STOPPED_IN = 20.0


@dataclass(frozen=True)
class Answer:
    """What a server answered."""

    status: int
    headers: http.client.HTTPMessage
    text: str


class _NoRedirect(urllib.request.HTTPRedirectHandler):
    def redirect_request(self, *_):
        return None


@dataclass(frozen=True)
class Server:
    """A running server: its process, the address it printed, and the folder it was started in."""

    process: subprocess.Popen
    address: str
    folder: Path

    @property
    def origin(self) -> str:
        return self.address.rpartition("/")[0] if "/lab/" not in self.address else self.address.partition("/lab/")[0]

    @property
    def port(self) -> int:
        return urlsplit(self.address).port

    @property
    def token(self) -> str:
        return urlsplit(self.address).query.partition("=")[2]

    def ask(self, path: str, *, method: str = "GET", **headers: str) -> Answer:
        """Return the answer to one request; redirects are not followed."""
        named = {name.replace("_", "-"): value for name, value in headers.items()}
        request = urllib.request.Request(self.origin + path, headers=named, method=method)
        opener = urllib.request.build_opener(urllib.request.ProxyHandler({}), _NoRedirect)
        try:
            with opener.open(request, timeout=STARTED_IN) as answer:
                return Answer(answer.status, answer.headers, answer.read().decode())
        except urllib.error.HTTPError as refused:
            with refused:
                return Answer(refused.code, refused.headers, refused.read().decode())

    def enter(self) -> dict[str, str]:
        """Return the head of a browser that was let in."""
        cookie = self.ask(f"/?token={self.token}").headers["Set-Cookie"]
        return {"Cookie": cookie.partition(";")[0]}

    def children(self) -> list[psutil.Process]:
        return psutil.Process(self.process.pid).children(recursive=True)

    def stop(self, how: signal.Signals = signal.SIGTERM) -> tuple[int, str]:
        """Stop it; return its exit code and what it said."""
        self.process.send_signal(how)
        _, said = self.process.communicate(timeout=STOPPED_IN)
        return self.process.returncode, said

    def end(self) -> None:
        """See to it that it is gone, with all that it started, whatever became of the test."""
        with suppress(psutil.NoSuchProcess):
            left = [*self.children(), psutil.Process(self.process.pid)]
            with suppress(subprocess.TimeoutExpired):
                self.stop()
            for each in left:
                with suppress(psutil.NoSuchProcess):
                    each.kill()


def environment(folder: Path, **more: str) -> dict[str, str]:
    """Return the environment of somebody whose folders all lie in this one."""
    kept = {name: value for name, value in os.environ.items() if not name.startswith(("JUPYTER", "CONTRASTKIT"))}
    own = {"XDG_DATA_HOME": str(folder / "data"), "JUPYTER_CONFIG_DIR": str(folder / "jupyter"),
           "JUPYTER_DATA_DIR": str(folder / "jupyter-data"), "JUPYTER_RUNTIME_DIR": str(folder / "runtime"),
           "IPYTHONDIR": str(folder / "ipython")}
    return {**kept, **own, **more}


def start(*words: str, folder: Path, **more: str) -> Server:
    """Return a server, once it has printed its address."""
    process = subprocess.Popen(
        [sys.executable, "-m", "contrastkit", *words, "--json"], stdout=subprocess.PIPE, stderr=subprocess.PIPE,
        text=True, cwd=folder, env=environment(folder, **more),
    )  # fmt: skip
    document = ""
    for line in process.stdout:
        document += line
        if line.startswith("}"):
            return Server(process, json.loads(document)["address"], folder)
    raise AssertionError(f"It did not start: {process.communicate(timeout=STOPPED_IN)[1]}")


@contextmanager
def served(*words: str, folder: Path, **more: str) -> Iterator[Server]:
    """Give a server, which is stopped at the end."""
    server = start(*words, folder=folder, **more)
    try:
        yield server
    finally:
        if server.process.poll() is None:
            server.end()


def until(holds, what: str, seconds: float = STARTED_IN):
    """Wait until something holds, and return it."""
    end = time.monotonic() + seconds
    while not (found := holds()):
        assert time.monotonic() < end, f"This never came: {what}."
        time.sleep(0.05)
    return found
