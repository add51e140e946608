"""What keeps a filter out of the night is named by the limit that really binds."""

from __future__ import annotations

import datetime

import numpy as np
import pytest

from nightplan.model.catalog_reading import load_catalog
from nightplan.model.config import Config
from nightplan.planning.tonight.limits import never_usable_reasons, usable_margin_deg
from nightplan.planning.tonight.night import compute_night
from nightplan.planning.tonight.visibility import sky_tracks, time_grid

NAMES = ("M 33", "M 104", "M 42")


@pytest.mark.parametrize("role", ["luminance", "H-alpha"])
def test_the_limit_that_bars_a_filter_all_night(demo: Config, role: str) -> None:
    # On the night of 2027-10-14 the moon, a day from full, passes M 33 at 25 to 29 deg; from 38.6
    # deg north M 104 is lost in the sun's light, and M 42 rises to 46 deg before dawn.
    catalog = load_catalog()
    night = compute_night(demo.site, datetime.date(2027, 10, 14))
    targets = [catalog.target(catalog.find(name)) for name in NAMES]
    utc_mjd = time_grid(night, 5.0)
    tracks = sky_tracks(night, [t.ra_deg for t in targets], [t.dec_deg for t in targets], utc_mjd)
    reasons = dict(zip(NAMES, never_usable_reasons(demo, night, tracks, role), strict=True))
    usable = (usable_margin_deg(demo, night, tracks, role) >= 0.0).any(axis=1)
    assert [reason == "" for reason in reasons.values()] == list(usable)
    assert "moon is nearer" in reasons["M 33"]
    assert "never stands above 30°" in reasons["M 104"]
    assert reasons["M 42"] == ""
    assert np.min(tracks.moon_separation_deg[0]) < 30.0
