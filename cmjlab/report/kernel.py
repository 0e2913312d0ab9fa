"""A notebook kernel that is always this interpreter, whatever kernels a user has installed."""

from __future__ import annotations

import sys

from jupyter_client.kernelspec import KernelSpec
from jupyter_client.manager import AsyncKernelManager


class OwnKernelManager(AsyncKernelManager):  # type: ignore[misc]
    """Start the kernel with ``sys.executable``; sockets are local files where that works."""

    def __init__(self, **options: object) -> None:
        options.pop("kernel_name", None)
        super().__init__(**options)
        if sys.platform != "win32":
            self.transport = "ipc"

    @property
    def kernel_spec(self) -> KernelSpec:
        """The specification of the one kernel used here."""
        return KernelSpec(
            argv=[sys.executable, "-m", "ipykernel_launcher", "-f", "{connection_file}"],
            display_name="Python",
            language="python",
        )
