"""The limits of a night, from skies written down by hand: figures are arithmetic of the rules."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest

from nightplan.model.config import Config
from nightplan.planning.tonight import limits
from nightplan.planning.tonight.limits import (
    dark_margin_deg,
    geometry_margin_deg,
    moon_distance_limit_deg,
    moon_margin_deg,
    never_usable_reasons,
    roles_margin_deg,
    usable_margin_deg,
)
from tests.own_config import configured

START, END = 61684.0, 61684.2
TIMES = np.array([START - 0.01, START, START + 0.1, END, END + 0.01])


def sky(**changes: object) -> SimpleNamespace:
    """One target at 60° due south under a moonless dark sky, at five times: two lie outside."""
    size = (1, TIMES.size)
    facts: dict[str, object] = {
        "utc_mjd": TIMES,
        "altitude_deg": np.full(size, 60.0),
        "seen_altitude_deg": np.full(size, 60.0),
        "azimuth_deg": np.full(size, 180.0),
        "hour_angle_deg": np.full(size, 0.0),
        "sun_altitude_deg": np.full(TIMES.size, -30.0),
        "moon_altitude_deg": np.full(TIMES.size, -20.0),
        "moon_semidiameter_deg": np.full(TIMES.size, 0.25),
        "moon_separation_deg": np.full(size, 90.0),
        "moon_illuminated_fraction": np.full(TIMES.size, 0.5),
    }
    return SimpleNamespace(**(facts | changes))


def night(window: tuple[float, float] | None = (START, END), dark_h: float = 4.8):
    return SimpleNamespace(window_utc_mjd=window, dark_hours=dark_h, window_kind="astronomical")


def test_the_moons_distance_is_asked_by_name_then_by_role() -> None:
    own = configured(("[filter.R]\n", "[filter.R]\nmoon_distance_deg = 81.0\n"))
    rule = own.preferences.moon_distance
    assert moon_distance_limit_deg(own, "red", "R") == 81.0
    assert moon_distance_limit_deg(own, "red") == 81.0
    assert moon_distance_limit_deg(own, "green", "G") == rule.broadband_deg
    assert moon_distance_limit_deg(own, "H-alpha") == rule.h_alpha_deg
    assert moon_distance_limit_deg(own, "S II") == rule.s_ii_deg
    assert moon_distance_limit_deg(own, "O III") == rule.o_iii_deg
    assert len({rule.broadband_deg, rule.h_alpha_deg, rule.o_iii_deg}) == 3


def test_the_moon_counts_by_its_lit_share_while_any_of_it_is_up(demo: Config) -> None:
    whole = moon_distance_limit_deg(demo, "luminance")
    # The upper limb of a moon of 15' stands at the refracted horizon (-34') at -49'.
    altitudes = np.array([-20.0, -0.83, -0.80, 0.0, 40.0])
    found = moon_margin_deg(demo, sky(moon_altitude_deg=altitudes), "luminance")
    up = 90.0 - 0.5 * whole
    np.testing.assert_allclose(found, [[180.0, 180.0, up, up, up]])


@pytest.mark.parametrize(
    ("wish", "dark_h", "least"),
    [("astronomical", 4.8, -18.0), ("nautical", 4.8, -12.0), ("astronomical", 0.0, -12.0)],
)
def test_darkness_by_class_and_by_what_the_night_has(wish: str, dark_h: float, least: float):
    config = configured(('dark_narrowband = "astronomical"', f'dark_narrowband = "{wish}"'))
    suns = least + np.array([-1.0, -0.001, 0.0, 0.001, 5.0])
    one = dark_margin_deg(config, night(dark_h=dark_h), sky(sun_altitude_deg=suns), "H-alpha")
    np.testing.assert_allclose(one, [1.0, 0.001, 0.0, -0.001, -5.0], atol=2e-4)
    # The other class keeps its own.
    broad = dark_margin_deg(config, night(dark_h=dark_h), sky(sun_altitude_deg=suns), "luminance")
    np.testing.assert_allclose(broad, (-18.0 if dark_h else -12.0) - suns, atol=2e-4)


def test_the_nearest_limit_decides_and_the_window_bounds_all(demo: Config) -> None:
    high, low = demo.mount.highest_altitude_deg, demo.preferences.minimum_altitude_deg
    half = 0.5 * moon_distance_limit_deg(demo, "luminance")
    moon = sky(moon_altitude_deg=np.full(5, 30.0), moon_separation_deg=np.full((1, 5), half + 2.0))
    inside = np.array([False, True, True, True, False])
    for tracks, spare in (
        (sky(), min(60.0 - low, high - 60.0, 12.0)),
        (sky(sun_altitude_deg=np.full(5, -19.0)), 1.0),
        (sky(altitude_deg=np.full((1, 5), low + 0.5)), 0.5),
        (sky(altitude_deg=np.full((1, 5), high - 0.5)), 0.5),
        (sky(altitude_deg=np.full((1, 5), high + 0.5)), -0.5),
        (moon, 2.0),
    ):
        found = usable_margin_deg(demo, night(), tracks, "luminance")[0]
        np.testing.assert_allclose(found[inside], spare, atol=2e-4)
        assert (found[~inside] < -90.0).all()
    assert (usable_margin_deg(demo, night(None), sky(), "luminance") == -180.0).all()
    np.testing.assert_allclose(geometry_margin_deg(demo, sky()), min(60.0 - low, high - 60.0))


def test_each_row_keeps_the_limits_of_its_own_role(
    demo: Config, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(limits, "tracks_of", lambda tracks, rows: rows)
    asked = {"red": 1.0, "H-alpha": 2.0}
    monkeypatch.setattr(
        limits,
        "usable_margin_deg",
        lambda config, night, rows, role: np.full((int(rows.sum()), 5), asked[role]),
    )
    role = np.array(["H-alpha", "red", "H-alpha"], dtype=object)
    found = roles_margin_deg(demo, night(), sky(altitude_deg=np.zeros((3, 5))), role)
    assert found[:, 0].tolist() == [2.0, 1.0, 2.0]


def test_the_reason_is_the_first_limit_that_bars_all(demo: Config) -> None:
    low, high = demo.preferences.minimum_altitude_deg, demo.mount.highest_altitude_deg
    near = {"moon_altitude_deg": np.full(5, 30.0), "moon_separation_deg": np.full((1, 5), 1.0)}
    whole = moon_distance_limit_deg(demo, "luminance")
    sunlit = np.full(5, -17.0)
    # Free at one time, dark at another: nothing suits it together.
    apart = {
        "altitude_deg": np.array([[10.0, 60.0, 10.0, 10.0, 60.0]]),
        "sun_altitude_deg": np.array([-30.0, -30.0, -30.0, -30.0, -30.0]),
        "moon_altitude_deg": np.full(5, 30.0),
        "moon_separation_deg": np.array([[90.0, 1.0, 90.0, 90.0, 90.0]]),
    }
    for tracks, said in (
        (sky(), ""),
        (sky(altitude_deg=np.full((1, 5), low - 1.0)), f"never stands above {low:g}°"),
        (sky(altitude_deg=np.full((1, 5), high + 1.0)), f"below {high:g}°"),
        (sky(sun_altitude_deg=sunlit), "not dark enough"),
        (sky(**near), f"the moon is nearer than {0.5 * whole:.0f}°"),
        (sky(**apart), "the moon is nearer"),
    ):
        (reason,) = never_usable_reasons(demo, night(), tracks, "luminance")
        assert said in reason
        assert bool(reason) == bool(said)
    assert never_usable_reasons(demo, night(None), sky(), "red") == (
        "the night has no dark window",
    )
