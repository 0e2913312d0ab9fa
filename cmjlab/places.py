"""Where the package lies, and the checkout around it when there is one."""

from __future__ import annotations

from pathlib import Path

#: Folder of the package itself.
PACKAGE = Path(__file__).resolve().parent
#: Folder that holds the package: the checkout of the project, or site-packages.
AROUND = PACKAGE.parent
