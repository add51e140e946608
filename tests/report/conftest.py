"""The invented documents that the report tests share."""

from __future__ import annotations

import datetime as dt
import json
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from nightplan.report.plots.night_picture import NightPicture, PictureTarget, blocks_and_events
from nightplan.report.wording.local_time import utc_mjd

DATA = Path(__file__).parent / "data"
ROLES = {
    "L": "luminance",
    "R": "red",
    "G": "green",
    "B": "blue",
    "Ha": "H-alpha",
    "OIII": "O III",
    "SII": "S II",
}


def read_document(name: str) -> Any:
    """One JSON document out of ``data/``."""
    return json.loads((DATA / f"{name}.json").read_text(encoding="utf-8"))


def read_picture(name: str = "picture", *, planned: bool = True) -> NightPicture:
    """A `NightPicture` out of ``data/``, with the invented plan's blocks or without any."""
    raw = read_document(name)
    plan = read_document("plan") if planned else {}
    blocks, events = blocks_and_events(plan, ROLES)
    edges = [plan.get(f"window_{edge}_utc") for edge in ("start", "end")]
    return NightPicture(
        site=raw["site"],
        evening=dt.date.fromisoformat(raw["evening"]),
        zone=ZoneInfo(raw["timezone"]),
        utc_mjd=np.array(raw["utc_mjd"]),
        sun_altitude_deg=np.array(raw["sun_altitude_deg"]),
        moon_altitude_deg=np.array(raw["moon_altitude_deg"]),
        moon_illuminated_fraction=raw["moon_illuminated_fraction"],
        targets=tuple(
            PictureTarget(row["name"], np.array(row["altitude_deg"]), np.array(row["skyline_deg"]))
            for row in raw["targets"]
        ),
        blocks=blocks,
        events=events,
        window_start_utc_mjd=None if edges[0] is None else utc_mjd(edges[0]),
        window_end_utc_mjd=None if edges[1] is None else utc_mjd(edges[1]),
        minimum_altitude_deg=raw["minimum_altitude_deg"],
    )


@pytest.fixture
def plan() -> dict[str, Any]:
    return read_document("plan")


@pytest.fixture
def document() -> Any:
    """The reader of one document by its name."""
    return read_document


@pytest.fixture
def picture() -> Any:
    """The reader of one `NightPicture` by its name."""
    return read_picture
