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
    try:
        return cast(Function, numba.njit(cache=True, error_model="numpy")(function))
    except RuntimeError:
        return cast(Function, numba.njit(error_model="numpy")(function))
