"""Standard streams that never raise on a sign or a reader that left, and matplotlib's folders."""

from __future__ import annotations

import codecs
import io
import os
import sys
import tempfile
from pathlib import Path
from typing import Any

from nightplan.errors import FileError
from nightplan.files import reason_of
from nightplan.report.wording.screen import escaped_but_styles
from nightplan.shown import ENCODING_ERRORS


class ShownStream(io.TextIOWrapper):
    """A text stream through which all that is obeyed instead of drawn goes escaped.

    Signs that its encoding lacks are escaped as well. When the reader of a pipe leaves, what
    comes after is dropped, so that the work behind it is still done.
    """

    def __init__(self, raw: io.TextIOWrapper, name: str, returns: bool) -> None:
        self._shown_name = name
        self._returns = returns
        self._narrow = codecs.lookup(raw.encoding or "ascii").name
        line_buffering = raw.line_buffering
        raw.flush()
        # click replaces a stream that says it is ASCII; in UTF-8 the same bytes are written.
        encoding = "utf-8" if self._narrow == "ascii" else self._narrow
        super().__init__(
            raw.detach(), encoding, ENCODING_ERRORS, newline=None, line_buffering=line_buffering
        )

    def write(self, text: str) -> int:
        shown = escaped_but_styles(text, returns=self._returns)
        if self._narrow == "ascii":
            shown = shown.encode("ascii", ENCODING_ERRORS).decode("ascii")
        try:
            super().write(shown)
        except OSError as error:
            self._lost(error)
        return len(text)

    def flush(self) -> None:
        try:
            super().flush()
        except OSError as error:
            self._lost(error)

    def _lost(self, error: OSError) -> None:
        # What is still buffered must go somewhere, or the interpreter's exit trips over it.
        _to_nowhere(self.fileno(), os.O_WRONLY)
        super().flush()
        if not isinstance(error, BrokenPipeError):
            raise FileError(self._shown_name, f"cannot be written: {reason_of(error)}") from error


def prepare_streams() -> None:
    """Put `ShownStream` in the place of standard output and error.

    A standard stream that is closed is opened to nowhere first: the next file that is opened
    would get its number, and prints of a library would end up in that file.
    """
    for number, flags in ((0, os.O_RDONLY), (1, os.O_WRONLY), (2, os.O_WRONLY)):
        try:
            os.fstat(number)
        except OSError:
            _to_nowhere(number, flags)
    for name, words, returns in (
        ("stdout", "standard output", False),
        ("stderr", "standard error", True),  # progress is wiped by a carriage return
    ):
        stream: Any = getattr(sys, name)
        if stream is None:
            number = 1 if name == "stdout" else 2
            stream = io.TextIOWrapper(io.FileIO(number, "w", closefd=False), encoding="utf-8")
        if isinstance(stream, io.TextIOWrapper) and not isinstance(stream, ShownStream):
            setattr(sys, name, ShownStream(stream, words, returns))


def _to_nowhere(number: int, flags: int) -> None:
    nowhere = os.open(os.devnull, flags)
    if nowhere != number:
        os.dup2(nowhere, number)
        os.close(nowhere)


def prepare_environment() -> None:
    """Set matplotlib's backend and, where HOME cannot be written, the folder of its caches.

    A backend that it does not know, set for another program, would stop its import.
    """
    os.environ["MPLBACKEND"] = "agg"
    if os.environ.get("MPLCONFIGDIR"):
        return
    home = Path(os.path.expanduser("~"))
    needed = [
        Path(os.environ.get(variable) or home / usual)
        for variable, usual in (("XDG_CACHE_HOME", ".cache"), ("XDG_CONFIG_HOME", ".config"))
    ]
    if not all(map(_can_be_written, needed)):
        # Without this it makes a new folder each time and says so on standard error.
        user = os.getuid() if hasattr(os, "getuid") else "user"
        folder = Path(tempfile.gettempdir()) / f"nightplan-{user}"
        folder.mkdir(mode=0o700, exist_ok=True)
        if not _can_be_written(folder) or folder.is_symlink():
            folder = Path(tempfile.mkdtemp(prefix="nightplan-"))
        os.environ["MPLCONFIGDIR"] = str(folder)


def _can_be_written(folder: Path) -> bool:
    """Whether a folder, or the nearest one above it that exists, can be written."""
    while not folder.exists() and folder != folder.parent:
        folder = folder.parent
    return folder.is_dir() and os.access(folder, os.W_OK | os.X_OK)
