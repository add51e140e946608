"""Compiles inner loops with numba; keeps the machine code where a folder allows it."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, TypeVar, cast

import numba

Function = TypeVar("Function", bound=Callable[..., Any])


def compiled(function: Function) -> Function:
    """The function as machine code, no fast-math, so that each machine computes the same.

    The code is kept beside the module, or in the user's cache folder; where neither can be
    written it is compiled anew by each process.
    """
    return _made(function, no_cfunc_wrapper=True)


def inner(function: Function) -> Function:
    """The same for one that only compiled functions call: without a way in from Python, whose
    many arrays take longer to compile than the function."""
    return _made(function, no_cfunc_wrapper=True, no_cpython_wrapper=True)


def _made(function: Function, **options: Any) -> Function:
    try:
        return cast(Function, numba.njit(cache=True, error_model="numpy", **options)(function))
    except RuntimeError:
        return cast(Function, numba.njit(error_model="numpy", **options)(function))
