"""Entry point of the command ``cmjlab`` and of ``python -m cmjlab``."""

from __future__ import annotations


def main() -> None:
    """Run the command line."""
    from cmjlab.cli.app import run

    run()


if __name__ == "__main__":
    main()
