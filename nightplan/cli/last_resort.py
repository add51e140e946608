"""What nobody foresaw: one line, and a report to send in where `--debug` asks for it."""

from __future__ import annotations

import sys
import tempfile
import time
import traceback
from pathlib import Path

EXIT_STATUS = 70
"""An internal fault, as in the BSD header sysexits.h (EX_SOFTWARE)."""


def fault_line(error: BaseException, debug: bool, words: list[str]) -> str:
    """The line that stands for an unforeseen fault; with `debug` a report is written.

    The report holds the trace, the versions and the words of the command line, nothing of the
    configuration or the journal.
    """
    from nightplan.numeric_guard import place_of_fault

    place = place_of_fault(error.__traceback__)
    what = f"fault in the program: {type(error).__name__}: {error} (in {place})"
    if not debug:
        return f"{what}; run again with --debug for a report that helps to mend it"
    try:
        return f"{what}; report: {_write_report(error, words)}"
    except OSError as trouble:
        return f"{what}; no report could be written: {trouble.strerror or trouble}"


def _write_report(error: BaseException, words: list[str]) -> Path:
    from nightplan.files import write_whole

    stamp = time.strftime("%Y%m%dT%H%M%SZ", time.gmtime())
    folder = Path(tempfile.mkdtemp(prefix="nightplan-report-"))
    path = folder / f"nightplan-{stamp}.txt"
    lines = [
        f"nightplan {_version('nightplan')}, Python {sys.version.split()[0]}, {sys.platform}",
        *(f"{name} {_version(name)}" for name in ("numpy", "scipy", "astropy", "highspy")),
        f"command line: {' '.join(map(repr, words))}",
        "",
        *traceback.format_exception(error),
    ]
    write_whole(path, "\n".join(lines).encode("utf-8", "backslashreplace"))
    return path


def _version(package: str) -> str:
    from importlib.metadata import PackageNotFoundError, version

    try:
        return version(package)
    except PackageNotFoundError:
        return "(not installed)"
