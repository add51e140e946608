"""Write the fixed instances: invented targets under an invented moon, by plain spherical geometry.

The sky here is only a stand-in with the right shape (worth falls with airmass, faster in blue;
moonlight hurts broadband most); the exposure model proper is not used, so that the instances do
not move when it does.
"""

from __future__ import annotations

import numpy as np
from instance_files import FOLDER, save

from nightplan.planning.schedule.night_problem import row_curves
from nightplan.planning.schedule.problem import ChangeCosts, Overheads, Pointing, Problem, Task

FILTERS = ("L", "R", "G", "B", "Ha", "OIII", "SII")
EXTINCTION_MAG = {"L": 0.16, "R": 0.11, "G": 0.15, "B": 0.25, "Ha": 0.09, "OIII": 0.17, "SII": 0.09}
MOON_PULL = {"L": 4.0, "R": 2.5, "G": 4.0, "B": 6.0, "Ha": 0.35, "OIII": 1.3, "SII": 0.3}
SUB_S = {"L": 120.0, "R": 180.0, "G": 180.0, "B": 180.0, "Ha": 300.0, "OIII": 300.0, "SII": 300.0}
GOAL_H = {"L": 5.0, "R": 2.5, "G": 2.5, "B": 2.5, "Ha": 6.0, "OIII": 6.0, "SII": 5.0}
SIDEREAL_DEG_S = 360.98564736629 / 86400.0
LATITUDE_DEG = 38.6


def altitude_deg(hour_angle_deg: np.ndarray, dec_deg: float) -> np.ndarray:
    """Altitude at the site; hour angle array (time,), deg."""
    lat, dec, ha = np.radians(LATITUDE_DEG), np.radians(dec_deg), np.radians(hour_angle_deg)
    return np.degrees(np.arcsin(np.sin(lat) * np.sin(dec) + np.cos(lat) * np.cos(dec) * np.cos(ha)))


def airmass(alt_deg: np.ndarray) -> np.ndarray:
    """Plane-parallel with a floor, for the stand-in sky."""
    return 1.0 / np.sin(np.radians(np.maximum(alt_deg, 10.0)))


def build(
    targets: int,
    hours: float,
    seed: int,
    moon: str = "sets",
    goal_scale: float = 1.0,
    panels: int = 1,
    setup_min: float = 6.0,
    begun: bool = False,
    overheads: Overheads | None = None,
) -> Problem:
    """One invented night. `moon`: none, sets, rises or up; `begun`: earlier nights brought some."""
    rng = np.random.default_rng(seed)
    window_s = hours * 3600.0
    grid_s = np.arange(0.0, window_s + 1.0, 300.0)
    moon_transit = {"none": 1e9, "sets": -0.12, "rises": 1.05, "up": 0.5}[moon] * window_s
    moon_alt = (
        np.full(grid_s.size, -30.0)
        if moon == "none"
        else altitude_deg((grid_s - moon_transit) * SIDEREAL_DEG_S, 15.0)
    )
    moonlight = np.clip(moon_alt, 0.0, 60.0) / 60.0
    pointings, tasks = [], []
    for number in range(targets):
        transit_s = float(rng.uniform(-0.15, 1.15) * window_s)
        dec = float(rng.uniform(5.0, 65.0))
        alt = altitude_deg((grid_s - transit_s) * SIDEREAL_DEG_S, dec)
        air = airmass(alt)
        moon_near = float(rng.uniform(0.6, 1.5))
        priority = float(rng.choice([1.0, 1.0, 1.0, 2.0]))
        new_angle = bool(rng.random() < 0.4)
        scale = goal_scale * float(rng.uniform(0.6, 1.3))
        gathered = {name: float(rng.choice([0.0, 0.0, 0.2, 0.6])) * begun for name in FILTERS}
        for panel in range(1, (panels if number == 0 else 1) + 1):
            pointings.append(
                Pointing(
                    target=f"Target {number + 1}",
                    panel=panel,
                    ra_deg=round(15.0 * number, 3),
                    dec_deg=round(dec, 3),
                    position_angle_deg=0.0,
                    image_up_angle_deg=90.0,
                    transit_s=round(transit_s, 1),
                    priority=priority,
                    new_angle=new_angle,
                )
            )
            for name in FILTERS:
                loss = 10.0 ** (-0.8 * EXTINCTION_MAG[name] * (air - 1.0)) / (
                    1.0 + 0.25 * (air - 1.0)
                )
                worth = loss / (1.0 + MOON_PULL[name] * moonlight * moon_near)
                usable = (alt > 30.0) & ((worth > 0.15) | (moonlight == 0.0))
                tasks.append(
                    Task(
                        pointing=len(pointings) - 1,
                        filter=name,
                        train="flattener",
                        gain="low",
                        sub_s=SUB_S[name],
                        worth=np.round(worth, 4),
                        usable=usable,
                        goal_h=round(GOAL_H[name] * scale, 3),
                        gathered_h=round(GOAL_H[name] * scale * gathered[name], 3),
                    )
                )
    return Problem(
        epoch_utc_mjd=61000.0,
        window_s=window_s,
        setup_s=setup_min * 60.0,
        latest_end_s=window_s,
        grid_s=grid_s,
        pointings=tuple(pointings),
        tasks=tuple(tasks),
        curves=row_curves(pointings, tasks),
        overheads=overheads or Overheads(stop_before_meridian_s=300.0),
        change_costs=ChangeCosts(0.01, 0.03, 0.05, 0.25),
        shortest_block_s=1200.0,
        longest_block_s=14400.0,
    )


PAST = Overheads(track_past_meridian_s=1200.0, dither_every=4, focus_every_s=4200.0)

Wish = dict[str, object]
INSTANCES: dict[str, Wish] = {
    "01x7_02h_short": {"targets": 1, "hours": 2.0, "seed": 11, "moon": "none"},
    "01x7_08h_moonset": {"targets": 1, "hours": 8.0, "seed": 12, "moon": "sets"},
    "01x7_10h_moonrise": {"targets": 1, "hours": 10.0, "seed": 19, "moon": "rises"},
    "01x7_10h_begun": {"targets": 1, "hours": 10.0, "seed": 14, "moon": "none", "begun": True},
    "01x7_10h_past": {"targets": 1, "hours": 10.0, "seed": 14, "moon": "none", "overheads": PAST},
    "02x7_08h_moonset": {"targets": 2, "hours": 8.0, "seed": 21, "moon": "sets"},
    "02x7_10h_moonup": {"targets": 2, "hours": 10.0, "seed": 22, "moon": "up"},
    "03x7_08h_dark": {"targets": 3, "hours": 8.0, "seed": 31, "moon": "none"},
    "03x7_10h_moonrise": {"targets": 3, "hours": 10.0, "seed": 32, "moon": "rises"},
    "03x7_10h_begun": {"targets": 3, "hours": 10.0, "seed": 33, "moon": "sets", "begun": True},
    "04x7_10h_moonset": {"targets": 4, "hours": 10.0, "seed": 41, "moon": "sets"},
    "04x7_10h_past": {"targets": 4, "hours": 10.0, "seed": 42, "moon": "none", "overheads": PAST},
    "04x7_14h_mosaic": {"targets": 4, "hours": 14.0, "seed": 43, "moon": "rises", "panels": 2},
    "06x7_10h_moonset": {"targets": 6, "hours": 10.0, "seed": 61, "moon": "sets"},
    "08x7_10h_smallgoals": {
        "targets": 8,
        "hours": 10.0,
        "seed": 81,
        "moon": "rises",
        "goal_scale": 0.4,
    },
    "12x7_12h_moonset": {"targets": 12, "hours": 12.0, "seed": 121, "moon": "sets"},
    "12x7_12h_dark": {"targets": 12, "hours": 12.0, "seed": 122, "moon": "none", "goal_scale": 0.5},
    "12x7_14h_moonrise": {
        "targets": 12,
        "hours": 14.0,
        "seed": 123,
        "moon": "rises",
        "overheads": PAST,
    },
}


def main() -> None:
    """Write every instance beside this script."""
    FOLDER.mkdir(exist_ok=True)
    for name, wishes in INSTANCES.items():
        save(build(**wishes), FOLDER / f"{name}.json.gz")  # type: ignore[arg-type]
        print(name)


if __name__ == "__main__":
    main()
