"""
The server of the pages: notebooks shown by Voila in a page of our own, to this computer only.

Only with the packages of the extra `notebook`; `serving.serve_pages` is the way in.
"""

from __future__ import annotations

import asyncio
import logging
import signal
import tempfile
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

import tornado.web
from jupyter_server.base.handlers import FileFindHandler
from jupyter_server.services.kernels.handlers import KernelHandler
from tornado.httpserver import HTTPServer
from tornado.netutil import bind_sockets
from traitlets.config import Config
from voila.app import Voila
from voila.shutdown_kernel_handler import VoilaShutdownKernelHandler
from voila.static_file_handler import MultiStaticFileHandler, TemplateStaticFileHandler
from voila.tornado.handler import TornadoVoilaHandler
from voila.tornado.kernel_websocket_handler import VoilaKernelWebsocketHandler

from contrastkit import errors
from contrastkit.panels.guard import Guarded, Keys
from contrastkit.panels.kernels import PageKernels, PagePython
from contrastkit.panels.parts import style
from contrastkit.show import look

HERE = Path(__file__).with_name("page")
LARGEST_MESSAGE = 8 * 1024 * 1024  # bytes from a page at once: photographs come in parts of a megabyte at most
_GONE, _LOOK = 180, 30  # seconds: a kernel whose page has been gone for so long is stopped; how often that is looked at
_KERNEL = r"(?P<kernel_id>\w+-\w+-\w+-\w+-\w+)"
_EXTENSIONS = ["anywidget", "@jupyter-widgets/jupyterlab-manager", "@voila-dashboards/widgets-manager8"]
_HOME = "'self' data: blob:"
# Whatever a page may hold, the browser itself lets nothing out of this computer.
_POLICY = (
    f"default-src {_HOME}; script-src {_HOME} 'unsafe-inline' 'unsafe-eval'; style-src {_HOME} 'unsafe-inline'; "
    "connect-src 'self' data: blob: {socket}; frame-ancestors 'none'; form-action 'self'; base-uri 'none'; "
    "object-src 'none'"
)
_OWN_ERRORS = [name for name, each in vars(errors).items() if isinstance(each, type)]  # their message says it all


def run(
    folder: Path, pages: Mapping[str, str], *, environment: Mapping[str, str], port: int,
    ready: Callable[[Keys], object],
) -> None:
    """
    Serve the notebooks of a folder until the process is told to stop.

    Parameters
    ----------
    folder : with the notebooks
    pages : their names, in the order of the navigation, and what each is called there; the first is shown by default
    environment : what every kernel finds in its environment, over that of this process
    port : where to listen; 0 for any that is free
    ready : called once pages can be asked for

    Raises
    ------
    OSError
        The port is taken.
    """
    logging.disable(logging.CRITICAL)  # what servers say is not for the terminal of someone who sews
    try:
        asyncio.run(_run(folder, pages, environment, port, ready))
    finally:
        logging.disable(logging.NOTSET)


async def _run(
    folder: Path, pages: Mapping[str, str], environment: Mapping[str, str], port: int, ready: Callable[[Keys], object]
) -> None:
    [socket] = bind_sockets(port, "127.0.0.1")
    keys = Keys(socket.getsockname()[1])
    stopped = _stopped_by_signals()
    voila = _Pages(config=_configured(folder, environment, keys.port))
    voila.initialize([])
    stopped.listen()  # Voila has its own way with signals, which is to leave kernels behind
    with tempfile.TemporaryDirectory(prefix="contrastkit-kernels-", ignore_cleanup_errors=True) as connections:
        voila.connection_dir = connections  # what is needed to talk to a kernel is for its owner alone
        server = HTTPServer(voila.application(keys, pages))
        server.add_sockets([socket])
        try:
            voila.kernel_manager.keep_one_ready()
            ready(keys)
            await stopped.event.wait()
        finally:
            server.stop()
            await voila.kernel_manager.close()
            await server.close_all_connections()


class _stopped_by_signals:  # noqa: N801
    """Set once the process is told to stop."""

    def __init__(self) -> None:
        self.event = asyncio.Event()
        self._loop = asyncio.get_running_loop()

    def listen(self) -> None:
        for name in ("SIGINT", "SIGTERM", "SIGHUP", "SIGBREAK"):
            number = getattr(signal, name, None)
            if number is not None:
                signal.signal(number, lambda *_: self._loop.call_soon_threadsafe(self.event.set))


def _configured(folder: Path, environment: Mapping[str, str], port: int) -> Config:
    config = Config()
    config.Voila.update(root_dir=str(folder), port=port, ip="127.0.0.1", token="", open_browser=False,
                        config_file_paths=[])
    config.VoilaConfiguration.update(
        template="lab", theme="light", show_tracebacks=True, extension_allowlist=_EXTENSIONS,
        kernel_spec_manager_class=PagePython, multi_kernel_manager_class=PageKernels,
        allow_template_override="NO", allow_theme_override="NO", file_allowlist=[],
        resources={"ck": _page_parts()},
    )  # fmt: skip
    config.PageKernels.update(environment=dict(environment), cull_idle_timeout=_GONE, cull_interval=_LOOK,
                              transport_encryption="auto")  # others on this computer could listen, else
    config.KernelManager.autorestart = False  # a new kernel under an old page would know nothing of what is on it
    config.ZMQChannelsWebsocketConnection.limit_rate = False  # a hand on a slider sends many small messages
    return config


def _page_parts() -> dict[str, Any]:
    read = {name: (HERE / name).read_text(encoding="utf-8") for name in ("page.css", "page.js")}
    return {"look": style(), "style": read["page.css"], "script": read["page.js"], "sentences": _OWN_ERRORS}


class _Pages(Voila):
    """Voila with a page of our own, and with nothing that can be asked for but pages and what they need."""

    def setup_template_dirs(self) -> None:
        super().setup_template_dirs()
        self.template_paths.insert(0, str(HERE))

    def application(self, keys: Keys, pages: Mapping[str, str]) -> Guarded:
        """Return what answers requests."""
        self.voila_configuration.config.VoilaConfiguration.resources["ck"]["pages"] = dict(pages)
        settings = self.init_settings()
        policy = _POLICY.replace("{socket}", f"ws://127.0.0.1:{keys.port} ws://localhost:{keys.port}")
        headers = {"Content-Security-Policy": policy, "Referrer-Policy": "no-referrer"}
        self.app = Guarded(keys, **settings, headers=headers, log_function=_in_silence,
                            ws_ping_timeout=30_000, disable_check_xsrf=True,  # the guard has looked where it comes from
                            websocket_max_message_size=LARGEST_MESSAGE)
        self.app.add_handlers(".*$", self._answers(pages))
        return self.app

    def _answers(self, pages: Mapping[str, str]) -> list[Any]:
        shown = {"template_paths": self.template_paths, "config": self.config,
                 "voila_configuration": self.voila_configuration}
        first = next(iter(pages))
        return [
            (r"/", tornado.web.RedirectHandler, {"url": f"/{first}", "permanent": False}),
            *((rf"/{name}", _Page, {**shown, "notebook_path": f"{name}.ipynb"}) for name in pages),
            *((rf"/{name}\.ipynb", tornado.web.RedirectHandler, {"url": f"/{name}"}) for name in pages),
            (rf"/alive/{_KERNEL}", _Alive),
            (r"/letters/(.*)", tornado.web.StaticFileHandler, {"path": str(look.FONTS)}),
            (rf"/api/kernels/{_KERNEL}", _Kernel),
            (rf"/api/kernels/{_KERNEL}/channels", VoilaKernelWebsocketHandler),
            (r"/voila/templates/(.*)", TemplateStaticFileHandler),
            (r"/voila/static/(.*)", MultiStaticFileHandler, {"paths": self.static_paths}),
            (r"/voila/labextensions/(.*)", FileFindHandler, {"path": self.labextensions_path}),
            (r"/voila/api/shutdown/(.*)", VoilaShutdownKernelHandler),
        ]  # fmt: skip


class _Page(TornadoVoilaHandler):
    """A page: a notebook, run in a kernel of its own."""

    async def get(self, path: str | None = None) -> None:
        await super().get()


class _Kernel(KernelHandler):
    """Says what a kernel is doing; pages stop theirs another way."""

    SUPPORTED_METHODS = ("GET",)


def _in_silence(_: tornado.web.RequestHandler) -> None:
    """What pages ask for is not for the terminal."""


class _Alive(tornado.web.RequestHandler):
    """Says whether the kernel of a page is still there."""

    async def get(self, kernel_id: str) -> None:
        kernels: PageKernels = self.settings["kernel_manager"]
        self.set_header("Cache-Control", "no-store")
        self.finish({"alive": await kernels.lives(kernel_id)})
