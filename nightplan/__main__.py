"""Lets `python -m nightplan` stand in for the installed script, and begins for both."""

from __future__ import annotations

import sys


def main() -> None:
    """Run the command line; the entry point of the installed script."""
    status = 0
    try:
        from nightplan.cli.stopping import StoppedError, ignore_signals, stop_on_signals

        # Before click and the commands are loaded: Ctrl-C may come while they are.
        stop_on_signals()
        from nightplan.cli.main import run
        from nightplan.cli.streams import prepare_environment, prepare_streams

        prepare_streams()
        prepare_environment()
        status = run(sys.argv[1:])
    except KeyboardInterrupt:
        # While the line above was at work.
        print("nightplan: stopped", file=sys.stderr)
        sys.exit(130)
    except StoppedError as stop:
        status = stop.exit_status
        print("nightplan: stopped", file=sys.stderr)
    ignore_signals()
    sys.exit(status)


if __name__ == "__main__":
    main()
