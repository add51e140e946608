"""A filter's two sets of subs, where a target has a bright core: the normal one and a short one."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

SHORT = " short"
"""Behind the filter's name it names the short set; no filter's own name may end so."""


def set_name(filter_name: str, short: bool) -> str:
    """What the subs of a set are called: ``L``, ``L short``."""
    return filter_name + SHORT if short else filter_name


def row_set(row: Mapping[str, Any]) -> str:
    """The same of a block or a row of progress of a plan document."""
    return set_name(str(row["filter"]), bool(row.get("short_set")))


def is_short(exposure_s: float, short_s: float | None, long_s: float | None) -> bool:
    """Whether a sub is of the short set: its length is nearer to that one's, as a ratio.

    A length of 0 or None says that there is no such set.
    """
    return bool(short_s and (not long_s or exposure_s < (short_s * long_s) ** 0.5))
