"""The evenings that can be asked for."""

from __future__ import annotations

import datetime

EARLIEST = datetime.date(1900, 1, 1)
"""Before it the moon's theory and the Earth's rotation were never compared here."""
LATEST = datetime.date(2199, 12, 30)
"""Its night ends before 2200, the end of the tables of leap seconds and of the Earth's orbit."""

DAY_S = 86400.0
DAY_MIN = 1440.0
"""Lengths of a day of universal time."""
