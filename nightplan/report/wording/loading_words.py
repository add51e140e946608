"""Which filters to put into the wheel, in one sentence."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any


def loading_words(rows: Sequence[Mapping[str, Any]]) -> str:
    """The filters to load and what the others would add; empty where all are in the wheel."""
    if not rows:
        return ""
    loaded = " ".join(row["filter"] for row in rows if row["loaded"])
    out = [
        row["filter"] + (f" (would add {row['worth_h']:.1f} h)" if row["worth_h"] >= 0.05 else "")
        for row in rows
        if not row["loaded"]
    ]
    return f"Load before dark {loaded}; leave out {', '.join(out)}"
