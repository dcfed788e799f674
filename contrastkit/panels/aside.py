"""Work beside the kernel's own thread, so that all panels answer meanwhile."""

from __future__ import annotations

import asyncio
from collections.abc import Callable
from concurrent.futures import Future, ThreadPoolExecutor
from typing import TypeVar

from contrastkit.errors import ContrastkitError

T = TypeVar("T")


class Aside:
    """
    Does one thing after the other beside the kernel's thread, and what follows in it: widgets are touched there alone.

    Where no kernel is running, all is done at once.

    Parameters
    ----------
    name : of the thread

    >>> Aside("example").do(lambda: 6 * 7, print, what="the answer")
    42
    """

    def __init__(self, name: str) -> None:
        self._worker = ThreadPoolExecutor(1, thread_name_prefix=f"contrastkit-{name}")

    def do(self, job: Callable[[], T], done: Callable[[T | str], object], *, what: str) -> None:
        """
        Do a job, then call `done` with what it returns, or with the sentence that says why it could not be done.

        Parameters
        ----------
        job : touches no widget
        done : called in the kernel's thread
        what : what the job makes, in words
        """
        try:
            loop = asyncio.get_running_loop()
        except RuntimeError:
            done(_tried(job, what))
            return

        def told(future: Future[T | str]) -> None:
            if not loop.is_closed():
                loop.call_soon_threadsafe(lambda: done(future.result()))

        self._worker.submit(_tried, job, what).add_done_callback(told)


def _tried(job: Callable[[], T], what: str) -> T | str:
    try:
        return job()
    except ContrastkitError as error:
        return str(error)
    except Exception as error:  # or the panel would say for ever that it is at work
        words = str(error) or type(error).__name__
        return f"All must go well for {what} to be made; it did not, the computer says: {words}. Try another."
