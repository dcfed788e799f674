"""
The kernels behind pages and notebooks: the Python that contrastkit runs in, and one always ready for the next page.

Only with the packages of the extra `notebook`.
"""

from __future__ import annotations

import asyncio
import os
import subprocess
from contextlib import suppress
from typing import Any

from ipykernel.kernelspec import RESOURCES, get_kernel_dict
from jupyter_client.kernelspec import NATIVE_KERNEL_NAME, KernelSpec, KernelSpecManager
from jupyter_server.services.kernels.kernelmanager import AsyncMappingKernelManager
from traitlets import Dict

_READY = "--IPKernelApp.exec_lines=import contrastkit.panels.ready"
_NO_HISTORY = "--HistoryManager.enabled=False"  # what pages do is not what someone typed
_PAUSE = 6.0  # seconds: the next kernel is started when the page that took the last one has had the computer to itself


class OwnPython(KernelSpecManager):
    """Kernels of the Python that runs contrastkit, whatever is installed for the user."""

    arguments: tuple[str, ...] = ()

    def find_kernel_specs(self) -> dict[str, str]:
        """Return the names of all kernels there are, and the folder of each."""
        return {**super().find_kernel_specs(), NATIVE_KERNEL_NAME: RESOURCES}

    def get_kernel_spec(self, kernel_name: str) -> KernelSpec:
        """Return how a kernel is started."""
        if kernel_name != NATIVE_KERNEL_NAME:
            return super().get_kernel_spec(kernel_name)
        said = get_kernel_dict(extra_arguments=[*self.arguments], python_arguments=["-Xfrozen_modules=off"])
        return KernelSpec(resource_dir=RESOURCES, **{**said, "display_name": "Python of contrastkit"})


class PagePython(OwnPython):
    """The same for pages: with the panels loaded, and without a history."""

    arguments = (_READY, _NO_HISTORY)


class QuietKernels(AsyncMappingKernelManager):
    """Kernels whose own words, as while they are stopped, do not come to the terminal."""

    async def start_kernel(self, **options: Any) -> str:
        """Return a new kernel."""
        kernel_id: str = await super().start_kernel(stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL, **options)
        return kernel_id


class PageKernels(QuietKernels):
    """The kernels of pages; one more is kept ready than there are pages."""

    environment = Dict(help="what every kernel finds in its environment").tag(config=True)

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(**kwargs)
        self._spare: asyncio.Task[str] | None = None
        self._closed = False

    async def start_kernel(self, **_: Any) -> str:
        """Return a kernel that nobody uses yet."""
        taken, self._spare = self._spare, None
        kernel_id = await self._alive(taken) or await self._fresh()
        asyncio.get_running_loop().call_later(_PAUSE, self.keep_one_ready)
        return kernel_id

    def keep_one_ready(self) -> None:
        """Start a kernel for the page that is opened next."""
        if self._spare is None and not self._closed:
            self._spare = asyncio.get_running_loop().create_task(self._fresh())

    async def _fresh(self) -> str:
        kernel_id: str = await super().start_kernel(
            kernel_name=NATIVE_KERNEL_NAME, path="", env={**os.environ, **self.environment}
        )
        return kernel_id

    async def _alive(self, spare: asyncio.Task[str] | None) -> str:
        with suppress(Exception):  # whatever became of it: another is started
            if spare is not None and await self.lives(await spare):
                return spare.result()
        return ""

    async def lives(self, kernel_id: str) -> bool:
        """Return whether a kernel is there and running."""
        return kernel_id in self and bool(await self.get_kernel(kernel_id).is_alive())

    async def cull_kernel_if_idle(self, kernel_id: str) -> None:
        """Stop a kernel whose page is gone; the one kept ready has none yet."""
        spare = self._spare
        if spare is None or not spare.done() or spare.exception() or spare.result() != kernel_id:
            await super().cull_kernel_if_idle(kernel_id)

    async def close(self) -> None:
        """Stop all kernels, and start no more."""
        self._closed = True
        with suppress(Exception):
            if self._spare is not None:
                await self._spare
        await self.shutdown_all(now=True)
