"""A notebook kernel that is always this interpreter, whatever kernels a user has installed."""

from __future__ import annotations

import shutil
import sys
import tempfile
from pathlib import Path
from typing import Any

from jupyter_client.kernelspec import KernelSpec
from jupyter_client.manager import AsyncKernelManager


class OwnKernelManager(AsyncKernelManager):  # type: ignore[misc]
    """Start the kernel with ``sys.executable``.

    Where the system has them, sockets are files in a folder of their own instead of network
    ports: no other user of the machine can reach the kernel, and no firewall asks.
    """

    def __init__(self, **options: Any) -> None:
        options.pop("kernel_name", None)
        super().__init__(**options)
        self._sockets: Path | None = None
        if sys.platform != "win32":
            self._sockets = Path(tempfile.mkdtemp(prefix="cmjlab-"))
            self.transport = "ipc"
            # An absolute path: kernel and client may have different working directories.
            self.ip = str(self._sockets / "k")

    @property
    def kernel_spec(self) -> KernelSpec:
        """The specification of the one kernel used here."""
        return KernelSpec(
            argv=[sys.executable, "-m", "ipykernel_launcher", "-f", "{connection_file}"],
            display_name="Python",
            language="python",
        )

    async def _async_cleanup_resources(self, restart: bool = False) -> None:
        """Remove the folder of sockets with everything else when the kernel ends."""
        await super()._async_cleanup_resources(restart=restart)
        if self._sockets is not None and not restart:
            shutil.rmtree(self._sockets, ignore_errors=True)

    cleanup_resources = _async_cleanup_resources
