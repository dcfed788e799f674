"""
JupyterLab on a folder of notebooks, shown to this computer only.

Only with the packages of the extra `notebook`; `serving.serve_lab` is the way in.
"""

from __future__ import annotations

import logging
import secrets
import signal
import warnings
from collections.abc import Callable
from pathlib import Path
from typing import Any

from jupyterlab.handlers.announcements import NeverCheckForUpdate
from jupyterlab.labapp import LabApp
from tornado.netutil import bind_sockets
from traitlets.config.loader import Config

from contrastkit.panels.kernels import OwnPython, QuietKernels

LARGEST_MESSAGE = 8 * 1024 * 1024  # bytes, as for pages


def run(folder: Path, notebook: str, *, port: int, browser: bool, opened: Callable[[str], object]) -> None:
    """
    Run JupyterLab until the process is told to stop.

    Parameters
    ----------
    folder : with the notebooks
    notebook : the one to open first
    port : where to listen; 0 for any that is free
    browser : whether a browser is opened
    opened : called with the address, which holds the key, once it can be opened

    Raises
    ------
    OSError
        The port is taken.
    """
    port, token = _free_port(port), secrets.token_urlsafe(24)
    logging.disable(logging.CRITICAL)  # what servers say is not for the terminal of someone who sews
    try:
        config = _configured(folder, notebook, port=port, token=token, browser=browser)
        with warnings.catch_warnings():
            warnings.showwarning = _in_silence
            server = LabApp.initialize_server(argv=[], config=config)
            _stop_on_signals(server)
            server.io_loop.add_callback(lambda: opened(f"http://127.0.0.1:{port}/lab/tree/{notebook}?token={token}"))
            server.start()
            server.io_loop.run_sync(lambda: server.kernel_manager.shutdown_all(now=True))
    finally:
        logging.disable(logging.NOTSET)


def _in_silence(*_: Any, **__: Any) -> None:
    """What packages say of one another is for their makers."""


def _stop_on_signals(server: Any) -> None:
    # JupyterLab asks first, or where there is no terminal to ask in, leaves kernels behind
    for name in ("SIGINT", "SIGTERM", "SIGHUP", "SIGBREAK"):
        number = getattr(signal, name, None)
        if number is not None:
            signal.signal(number, lambda *_: server.stop(from_signal=True))


def _free_port(port: int) -> int:
    [tried] = bind_sockets(port, "127.0.0.1")
    with tried:
        return int(tried.getsockname()[1])


def _configured(folder: Path, notebook: str, *, port: int, token: str, browser: bool) -> Config:
    config = Config()
    config.ServerApp.update(
        ip="127.0.0.1", port=port, port_retries=0, open_browser=browser, root_dir=str(folder), terminals_enabled=False,
        allow_root=True,  # it serves whoever started it, and nobody else
        kernel_spec_manager_class=OwnPython, kernel_manager_class=QuietKernels,
        tornado_settings={"websocket_max_message_size": LARGEST_MESSAGE, "ws_ping_timeout": 30_000},
    )  # fmt: skip
    config.LanguageServerManager.autodetect = False  # it would look for programmers' helpers for long
    config.IdentityProvider.token = token
    config.MappingKernelManager.transport_encryption = "auto"  # others on this computer could listen, else
    config.ZMQChannelsWebsocketConnection.limit_rate = False  # a hand on a slider sends many small messages
    # nothing is asked of any other computer
    config.LabApp.update(default_url=f"/lab/tree/{notebook}", news_url=None, extension_manager="readonly",
                         check_for_updates_class=NeverCheckForUpdate)
    return config
