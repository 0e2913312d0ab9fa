"""Entry point of the command ``cmjlab`` and of ``python -m cmjlab``."""

from __future__ import annotations

import signal
import sys

_STOPPED = "cmjlab: stopped.\n"


def main() -> None:
    """Run the command line; Ctrl-C is answered from the first moment to the last."""
    try:
        from cmjlab.cli.app import run

        run()
    except KeyboardInterrupt:  # while the command was loaded
        sys.stderr.write(_STOPPED)
        sys.exit(130)
    except SystemExit as ended:
        if isinstance(getattr(ended.__context__, "__cause__", None), KeyboardInterrupt):
            sys.stderr.write(_STOPPED)  # outside of our own code, where typer says nothing
        if ended.code == 130:  # what was half done by libraries has nothing more to say
            sys.unraisablehook = lambda _: None
        raise
    finally:  # all is written: Ctrl-C now ends Python itself, without its traceback
        signal.signal(signal.SIGINT, signal.SIG_DFL)


if __name__ == "__main__":
    main()
