"""What matplotlib needs of the process: pictures go to files, caches to a folder that is there."""

from __future__ import annotations

import os
import tempfile
from pathlib import Path


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
