"""Turns numbers that leave what can be computed with into one named error."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from types import TracebackType

from nightplan.errors import NumericError

_PACKAGE = Path(__file__).parent
# What Python's math module and int() say of numbers that are no numbers any more.
_NUMERIC_WORDS = ("math domain error", "cannot convert float")


@contextmanager
def guarded_numbers() -> Iterator[None]:
    """Overflow, division by zero, NaN out of numbers and lack of memory raise `NumericError`.

    Steps that handle such numbers on purpose say so with an `errstate` of their own.

    Raises
    ------
    NumericError
        As said; it names the kind and the module.
    """
    import numpy as np

    try:
        with np.errstate(over="raise", divide="raise", invalid="raise"):
            yield
    except (ArithmeticError, MemoryError) as error:
        raise _named(error) from error
    except ValueError as error:
        if not str(error).startswith(_NUMERIC_WORDS):
            raise
        raise _named(error) from error


def place_of_fault(trace: TracebackType | None) -> str:
    """`folder/file.py:line` of the innermost frame that is in this package."""
    place = "nightplan"
    while trace is not None:
        path = Path(trace.tb_frame.f_code.co_filename)
        if path.is_relative_to(_PACKAGE):
            place = f"{path.relative_to(_PACKAGE).as_posix()}:{trace.tb_lineno}"
        trace = trace.tb_next
    return place


def _named(error: Exception) -> NumericError:
    return NumericError(str(error) or type(error).__name__, place_of_fault(error.__traceback__))
