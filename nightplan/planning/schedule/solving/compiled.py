"""Compiles inner loops with numba; keeps the machine code where a folder allows it.

numba takes kept code as current while the function's own file is unchanged, though it may call
functions of other files; so the code is kept in a folder named after all sources of this package.
"""

from __future__ import annotations

import hashlib
import os
import shutil
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any, TypeVar, cast

import numba
from numba.core import event

Function = TypeVar("Function", bound=Callable[..., Any])
HERE = Path(__file__).resolve().parent
FOLDER_NAME = "compiled-"
STALE_S = 30 * 86400.0
"""Folders of other versions are kept so long: a process that runs may still write there."""


def places() -> list[Path]:
    """Where the code may be kept, best first: the user's choice for numba, beside the modules,
    the user's cache folder."""
    chosen = os.environ.get("NUMBA_CACHE_DIR")
    home = Path(os.path.expanduser("~"))
    cache = os.environ.get("XDG_CACHE_HOME") or os.environ.get("LOCALAPPDATA") or home / ".cache"
    return [Path(chosen)] if chosen else [HERE / "__pycache__", Path(cache) / "nightplan"]


def kept_in(bases: list[Path]) -> Path | None:
    """The folder for this version of the sources, in the first place that can be written."""
    sources = hashlib.sha256()
    for path in sorted(HERE.glob("*.py")):
        sources.update(path.read_bytes())
    name = FOLDER_NAME + sources.hexdigest()[:16]
    for base in bases:
        try:
            (base / name).mkdir(parents=True, exist_ok=True)
            with tempfile.TemporaryFile(dir=base / name):
                pass
        except OSError:
            continue
        for old in base.glob(FOLDER_NAME + "*"):
            if old.name != name and old.stat().st_mtime < time.time() - STALE_S:
                shutil.rmtree(old, ignore_errors=True)
        return base / name
    return None


FOLDER = kept_in(places())
"""None: each process compiles anew."""


class _Compiling(event.Listener):
    """Counts the compilations under way."""

    depth = 0

    def on_start(self, event: Any) -> None:
        self.depth += 1

    def on_end(self, event: Any) -> None:
        self.depth -= 1


_under_way = _Compiling()
event.register("numba:compile", _under_way)


def compiling() -> bool:
    """Whether numba is at work this very moment."""
    return _under_way.depth > 0


def compiled(function: Function) -> Function:
    """The function as machine code, no fast-math, so that each machine computes the same."""
    return _made(function, no_cfunc_wrapper=True)


def inner(function: Function) -> Function:
    """The same for one that only compiled functions call and that makes no array: without a way in
    from Python, whose many arrays take longer to compile than the function, and without counting
    references to them, which took nine tenths of the time of a search."""
    return _made(function, no_cfunc_wrapper=True, no_cpython_wrapper=True, _nrt=False)


def _made(function: Function, **options: Any) -> Function:
    options["error_model"] = "numpy"
    if FOLDER is None:
        return cast(Function, numba.njit(**options)(function))
    # numba asks for its folder as the decorator runs; other users of numba keep theirs.
    settings: Any = numba.config
    before, settings.CACHE_DIR = settings.CACHE_DIR, str(FOLDER)
    try:
        return cast(Function, numba.njit(cache=True, **options)(function))
    finally:
        settings.CACHE_DIR = before
