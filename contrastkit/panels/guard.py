"""
Who may talk to the server of the pages: whoever has the key, from this computer, and from no page but ours.

Every request passes here before anything else sees it, those of sockets and of files too.
"""

from __future__ import annotations

import hmac
import secrets
from typing import Any
from urllib.parse import parse_qsl, urlencode

import tornado.web
from tornado.httputil import HTTPServerRequest

_REFUSED = (
    "This page needs its key. Open it by the address that contrastkit printed when it was started, "
    "the one that ends in ?token= and many letters."
)


class Keys:
    """
    The keys of one server.

    Parameters
    ----------
    port : the port it listens at
    token : what addresses hold, as long as the server runs; made up if not given

    >>> keys = Keys(8000, token="abc")
    >>> keys.address("sort")
    'http://127.0.0.1:8000/sort?token=abc'
    """

    def __init__(self, port: int, *, token: str | None = None) -> None:
        self.port = port
        self.token = token or secrets.token_urlsafe(24)
        self.cookie_name = f"contrastkit-{port}"  # browsers tell servers apart by their host alone
        self.cookie = secrets.token_urlsafe(24)
        self._once: set[str] = set()

    @property
    def origin(self) -> str:
        """Where the pages are."""
        return f"http://127.0.0.1:{self.port}"

    def address(self, page: str) -> str:
        """Return the address of a page, with the key."""
        return f"{self.origin}/{page}?token={self.token}"

    def address_for_once(self, page: str) -> str:
        """Return an address whose key opens once: others on this computer can read how a browser was started."""
        once = secrets.token_urlsafe(24)
        self._once.add(once)
        return f"{self.origin}/{page}?token={once}"

    def from_here(self, request: HTTPServerRequest) -> bool:
        """Return whether a request names this server by its own address, and comes from a page of ours or from none."""
        hosts = {f"127.0.0.1:{self.port}", f"localhost:{self.port}"}
        origin = request.headers.get("Origin")
        if origin is None:  # browsers name it whenever something is to be changed
            return request.host in hosts and request.method in ("GET", "HEAD")
        return request.host in hosts and origin in {f"http://{host}" for host in hosts}

    def has_cookie(self, request: HTTPServerRequest) -> bool:
        """Return whether a request shows that its browser has been let in."""
        morsel = request.cookies.get(self.cookie_name)
        return morsel is not None and _same(morsel.value, self.cookie)

    def has_token(self, request: HTTPServerRequest) -> bool:
        """Return whether a request holds a key in its address or its head; one that opens once is used up."""
        head = request.headers.get("Authorization", "")
        given = [head.removeprefix("token ")] if head.startswith("token ") else []
        given += [value for name, value in parse_qsl(request.query) if name == "token"]
        used = self._once.intersection(given)
        self._once -= used
        return bool(used) or any(_same(each, self.token) for each in given)


def _same(given: str, wanted: str) -> bool:
    return hmac.compare_digest(given.encode("utf-8", "replace"), wanted.encode())


class Guarded(tornado.web.Application):
    """An application that only those reach who have a key."""

    def __init__(self, keys: Keys, **settings: Any) -> None:
        super().__init__(**settings)
        self._keys = keys

    def find_handler(self, request: HTTPServerRequest, **kwargs: Any) -> Any:
        """Return who answers a request."""
        if not self._keys.from_here(request):
            return self.get_handler_delegate(request, Refusal)
        if self._keys.has_cookie(request):
            return super().find_handler(request, **kwargs)
        if not self._keys.has_token(request):
            return self.get_handler_delegate(request, Refusal)
        if request.method == "GET" and "Authorization" not in request.headers and "Upgrade" not in request.headers:
            return self.get_handler_delegate(request, Welcome, {"keys": self._keys})
        return super().find_handler(request, **kwargs)


class Refusal(tornado.web.RequestHandler):
    """Says that there is no way in without the key."""

    def prepare(self) -> None:
        """Answer, whatever was asked."""
        self.set_status(403)
        self.set_header("Content-Type", "text/plain; charset=utf-8")
        self.finish(_REFUSED)


class Welcome(tornado.web.RequestHandler):
    """Lets a browser in and takes the key out of the address, so that it is not passed on with it."""

    def initialize(self, keys: Keys) -> None:
        """Take the keys."""
        self.keys = keys

    def get(self) -> None:
        """Send the browser to the same page with a cookie."""
        rest = [(name, value) for name, value in parse_qsl(self.request.query) if name != "token"]
        self.set_cookie(self.keys.cookie_name, self.keys.cookie, path="/", httponly=True, samesite="Lax")
        self.set_header("Cache-Control", "no-store")
        # an address that begins with two slashes would lead to another computer
        path = "/" + self.request.path.lstrip("/\\")
        self.redirect(f"{path}?{urlencode(rest)}" if rest else path)


