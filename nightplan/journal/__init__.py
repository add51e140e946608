"""What happened on earlier nights: `Journal` and what it takes and gives."""

from nightplan.journal.journal import Journal
from nightplan.journal.records import (
    CalibrationFrame,
    Framing,
    Gathered,
    Recorded,
    RotatorSolution,
    Sub,
)

__all__ = [
    "CalibrationFrame",
    "Framing",
    "Gathered",
    "Journal",
    "Recorded",
    "RotatorSolution",
    "Sub",
]
