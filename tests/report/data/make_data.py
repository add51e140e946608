"""Writes the documents that the report tests read: an invented plan at the invented site.

Altitudes come from astropy with its built-in ephemeris. Run it by hand when the documents'
keys change; the results are kept beside it so that the tests need neither astropy nor a planner.
"""

from __future__ import annotations

import datetime as dt
import json
import warnings
from pathlib import Path

import numpy as np
from astropy import units as u
from astropy.coordinates import AltAz, EarthLocation, SkyCoord, get_body
from astropy.time import Time
from astropy.utils import iers

from nightplan.model.starter import demo_config
from nightplan.report.documents.plan import LEDGER_KINDS

HERE = Path(__file__).parent
PLACES = {
    "NGC 7000": (314.75, 44.37),
    "M 31": (10.685, 41.269),
    "IC 1805": (38.20, 61.45),
    "M 33": (23.46, 30.66),
    "M 45": (56.75, 24.12),
    "NGC 7293": (337.41, -20.84),
}
CYCLE = {"download": 2.0, "dither": 25.0, "every": 3}
NOTE = "Invented: a made-up plan for the made-up site Hollow Ridge."


def picture(date: str, start: str, end: str, names: list[str]) -> dict:
    """Altitudes every 10 minutes from `start` to `end` (UTC)."""
    config = demo_config()
    site = config.site
    place = EarthLocation.from_geodetic(
        site.longitude_deg * u.deg, site.latitude_deg * u.deg, site.elevation_m * u.m
    )
    first, last = Time(start), Time(end)
    count = round((last - first).to_value("min") / 10.0) + 1
    times = first + np.arange(count) * 10.0 * u.min
    frame = AltAz(obstime=times, location=place)
    moon = get_body("moon", times, place)
    middle = times[count // 2]
    elongation = get_body("moon", middle).separation(get_body("sun", middle))
    targets = []
    for name in names:
        where = SkyCoord(*PLACES[name], unit="deg").transform_to(frame)
        targets.append(
            {
                "name": name,
                "altitude_deg": np.round(where.alt.deg, 2).tolist(),
                "skyline_deg": np.round(config.horizon.altitude_deg(where.az.deg), 2).tolist(),
            }
        )
    return {
        "note": NOTE,
        "site": site.name,
        "evening": date,
        "timezone": site.timezone,
        "utc_mjd": np.round(times.utc.mjd, 7).tolist(),
        "sun_altitude_deg": np.round(
            get_body("sun", times, place).transform_to(frame).alt.deg, 2
        ).tolist(),
        "moon_altitude_deg": np.round(moon.transform_to(frame).alt.deg, 2).tolist(),
        "moon_illuminated_fraction": round(float((1.0 - np.cos(elongation.rad)) / 2.0), 3),
        "minimum_altitude_deg": 30.0,
        "targets": targets,
    }


class Clock:
    """Lays work end to end and keeps the ledger."""

    def __init__(self, start: dt.datetime) -> None:
        self.now = start
        self.blocks: list[dict] = []
        self.events: list[dict] = []
        self.ledger_s = dict.fromkeys(LEDGER_KINDS, 0.0)

    def event(self, kind: str, target: str | None, seconds: float) -> None:
        start = self.now
        self.now += dt.timedelta(seconds=seconds)
        self.ledger_s[kind] += seconds
        self.events.append(
            {"kind": kind, "target": target, "start_utc": iso(start), "end_utc": iso(self.now)}
        )

    def block(self, frame: dict, name: str, gain: str, sub_s: float, count: int, why: str) -> None:
        start = self.now
        dithers = (count - 1) // CYCLE["every"]
        for kind, seconds in (
            ("exposure", sub_s * count),
            ("download", CYCLE["download"] * count),
            ("dither", CYCLE["dither"] * dithers),
        ):
            self.ledger_s[kind] += seconds
            self.now += dt.timedelta(seconds=seconds)
        self.blocks.append(
            {
                "target": frame["target"],
                "panel": 1,
                "ra_deg": frame["panels"][0]["ra_deg"],
                "dec_deg": frame["panels"][0]["dec_deg"],
                "position_angle_deg": frame["position_angle_deg"],
                "image_up_angle_deg": frame["image_up_angle_deg"],
                "train": "reducer",
                "filter": name,
                "gain": gain,
                "start_utc": iso(start),
                "end_utc": iso(self.now),
                "sub_s": sub_s,
                "count": count,
                "short_set": False,
                "why": why,
            }
        )


def iso(when: dt.datetime) -> str:
    return when.strftime("%Y-%m-%dT%H:%M:%SZ")


def frame(target: str, pa: float, tolerance: float, margin: float, coverage: float, guide) -> dict:
    up = (pa + 270.0) % 360.0
    ra, dec = PLACES[target]
    panel = {"ra_deg": ra, "dec_deg": dec, "position_angle_deg": pa, "image_up_angle_deg": up}
    return {
        "target": target,
        "train": "reducer",
        "position_angle_deg": pa,
        "image_up_angle_deg": up,
        "position_angle_tolerance_deg": tolerance,
        "coverage": coverage,
        "margin_arcmin": margin,
        "panels": [panel],
        "trains": [
            {"train": "reducer", "coverage": coverage, "margin_arcmin": margin,
             "hours_to_snr": 3.1},
            {"train": "flattener", "coverage": coverage * 0.7, "margin_arcmin": margin - 14.0,
             "hours_to_snr": 3.3},
        ],
        "reason": f"The reducer's field holds {target} with room to spare; the flattener cuts it.",
        "guide": guide,
        "better_image_up_angle_deg": None,
    }  # fmt: skip


def main() -> None:
    warnings.simplefilter("ignore")
    iers.conf.auto_download = False
    iers.conf.auto_max_age = None
    guide_two = {
        "before_meridian": {
            "state": "found",
            "stars": [{"g_mag": 8.4, "ra_deg": 314.2, "dec_deg": 45.4}],
            "expected_count": 9.0,
        },
        "after_meridian": {"state": "expected", "stars": [], "expected_count": 6.2},
        "better_image_up_angle_deg": None,
    }
    guide_poor = {
        "before_meridian": {"state": "expected", "stars": [], "expected_count": 3.4},
        "after_meridian": {"state": "unlikely", "stars": [], "expected_count": 0.8},
        "better_image_up_angle_deg": 312.0,
    }
    frames = {
        "NGC 7000": frame("NGC 7000", 0.0, 18.0, 5.4, 0.97, guide_two),
        "M 31": frame("M 31", 37.0, 4.5, -3.0, 0.94, guide_poor),
        "IC 1805": frame("IC 1805", 90.0, 90.0, 6.1, 1.0, guide_two),
    }
    clock = Clock(dt.datetime(2027, 10, 6, 19, 32, 40, tzinfo=dt.UTC))
    plan_blocks(clock, frames)
    end = dt.datetime(2027, 10, 7, 5, 2, 20, tzinfo=dt.UTC)
    clock.event("idle", None, (end - clock.now).total_seconds())
    progress = []
    for target, name, priority, goal, gathered in (
        ("NGC 7000", "Ha", 1.0, 4.0, 0.0), ("NGC 7000", "SII", 1.0, 2.7, 0.0),
        ("M 31", "L", 2.0, 6.0, 1.2), ("M 31", "R", 2.0, 2.0, 0.0), ("M 31", "G", 2.0, 2.0, 0.0),
        ("M 31", "B", 2.0, 2.0, 0.0), ("IC 1805", "Ha", 1.0, 4.0, 2.5),
        ("IC 1805", "OIII", 1.0, 4.0, 0.0),
    ):  # fmt: skip
        hours = sum(
            row["sub_s"] * row["count"] / 3600.0
            for row in clock.blocks
            if row["target"] == target and row["filter"] == name
        )
        progress.append(
            {"target": target, "panel": 1, "filter": name, "short_set": False,
             "through": [name],
             "sub_s": 300.0 if name in ("Ha", "OIII", "SII") else 120.0, "priority": priority,
             "goal_h": goal, "gathered_h": gathered, "tonight_h": round(hours * 0.86, 2),
             "tonight_clock_h": round(hours, 2), "value_curve": curve(gathered, goal, priority)}
        )  # fmt: skip
    setup = [
        {"name": step, "start_utc": f"2027-10-06T{start}:00Z", "end_utc": f"2027-10-06T{stop}:00Z"}
        for step, start, stop in (
            ("cooling", "18:05", "18:20"), ("polar alignment", "18:43", "18:55"),
            ("first focus", "18:55", "19:01"), ("plate solution", "19:01", "19:03"),
            ("camera angle", "19:03", "19:06"), ("guider calibration", "19:06", "19:11"),
        )
    ]  # fmt: skip
    targets = [
        {"target": name, "subject": None, "subject_reason": "stands_alone",
         "common_name": common, "kind": kind, "train": "reducer",
         "position_angle_deg": frames[name]["position_angle_deg"],
         "image_up_angle_deg": frames[name]["image_up_angle_deg"],
         "position_angle_tolerance_deg": frames[name]["position_angle_tolerance_deg"],
         "coverage": frames[name]["coverage"], "margin_arcmin": frames[name]["margin_arcmin"],
         "ra_deg": PLACES[name][0], "dec_deg": PLACES[name][1],
         "panels": 1, "mosaic_columns": 1, "mosaic_rows": 1, "mirrored": False,
         "fields": frames[name]["panels"],
         "reason": frames[name]["reason"], "train_loss": loss, "train_loss_share": share,
         "best_train": best, "filters": filters}
        for name, common, kind, loss, share, best, filters in (
            ("NGC 7000", "North America Nebula", "emission_nebula", "NGC 7000 loses nothing.",
             0.0, "reducer", ["Ha", "SII"]),
            ("M 31", "Andromeda Galaxy", "galaxy", "M 31 loses nothing.",
             0.0, "reducer", ["L", "R", "G", "B"]),
            ("IC 1805", "Heart Nebula", "emission_nebula",
             "IC 1805 would do a little better with the flattener: finer sampling.",
             0.02, "flattener", ["Ha", "OIII"]),
        )
    ]  # fmt: skip
    plan = {
        "site": "Hollow Ridge", "rig": demo_config().rig_name, "timezone": "Europe/Lisbon",
        "date": "2027-10-06", "train": "reducer",
        "train_reason": "The reducer holds all three targets whole; with the flattener M 31 loses "
        "30 % of its area.",
        "window_kind": "astronomical",
        "window_start_utc": "2027-10-06T19:32:40Z",
        "window_end_utc": iso(end),
        "from_utc": None, "from_utc_reason": "planned_whole", "changes": [], "left_out": [],
        "not_tonight": [], "prices": [], "fillers": [], "loading": [],
        "targets": targets,
        "blocks": clock.blocks,
        "events": clock.events,
        "ledger": {key: round(value / 60.0, 3) for key, value in clock.ledger_s.items()},
        "bound": 2.114, "objective": 2.102, "gap_percent": 0.568,
        "bound_holds_for": "whole_subs", "solve_s": 3.1, "change_cost": 0.021,
        "recipes": recipes(progress), "sub_breaks": [], "progress": progress,
        "setup": setup, "notices": [NOTE],
    }  # fmt: skip
    night = {
        "site": "Hollow Ridge", "date": "2027-10-06",
        "sunset_utc": "2027-10-06T18:05:10Z", "civil_dusk_utc": "2027-10-06T18:33:20Z",
        "nautical_dusk_utc": "2027-10-06T19:03:00Z",
        "astronomical_dusk_utc": "2027-10-06T19:32:40Z",
        "astronomical_dawn_utc": "2027-10-07T05:02:20Z",
        "nautical_dawn_utc": "2027-10-07T05:34:10Z", "civil_dawn_utc": "2027-10-07T06:04:00Z",
        "sunrise_utc": "2027-10-07T06:31:00Z", "moonrise_utc": "2027-10-06T13:17:00Z",
        "moonset_utc": "2027-10-06T22:29:00Z", "moon_illuminated_fraction": 0.453,
        "dark_hours": 9.494, "moonless_dark_hours": 6.556, "window_kind": "astronomical",
        "window_start_utc": "2027-10-06T19:32:40Z", "window_end_utc": iso(end), "notices": [NOTE],
    }  # fmt: skip
    calibration = [
        {"kind": "flat", "filter": name, "train": "reducer", "position_angle_deg": pa,
         "gain": gain, "sensor_temperature_c": -10.0, "sub_s": None, "count": 20, "minutes": 3.0,
         "reason": "new camera angle"}
        for name, pa, gain in (("Ha", 0.0, "high"), ("SII", 0.0, "high"), ("B", 37.0, "low"),
                               ("L", 37.0, "low"), ("G", 37.0, "low"), ("R", 37.0, "low"),
                               ("OIII", 90.0, "high"), ("Ha", 90.0, "high"))
    ] + [
        {"kind": "dark", "filter": None, "train": None, "position_angle_deg": None, "gain": "high",
         "sensor_temperature_c": -10.0, "sub_s": 300.0, "count": 20, "minutes": 101.0,
         "reason": "none of this length yet"},
    ]  # fmt: skip
    wide = picture("2027-10-06", "2027-10-06T17:50:00", "2027-10-07T06:50:00", list(frames))
    change = picture("2027-10-30", "2027-10-30T17:10:00", "2027-10-31T07:20:00", list(PLACES))
    files = {
        "plan": plan, "night": night, "frames": frames, "calibration": calibration,
        "picture": wide, "picture_clock_change": change,
    }  # fmt: skip
    for name, document in files.items():
        text = json.dumps(document, indent=None if "picture" in name else 1)
        (HERE / f"{name}.json").write_text(text + "\n", encoding="utf-8")


def curve(gathered_h: float, goal_h: float, priority: float) -> list[list[float]]:
    """An invented value curve: full worth to the goal, a tenth of it to twice the goal."""
    rest = priority * max(0.0, goal_h - gathered_h)
    end = [2.0 * goal_h, round(rest + 0.1 * priority * goal_h, 3)]
    return [[gathered_h, 0.0], [goal_h, round(rest, 3)], end]


def recipes(progress: list[dict]) -> dict:
    """One a target, by the hours of its rows."""
    told = {
        "NGC 7000": ("H-alpha and S II", "goal", "Ha"), "M 31": ("LRGB", "target", "L"),
        "IC 1805": ("H-alpha and O III", "kind_wish", "Ha"),
    }  # fmt: skip
    purposes = {"L": "detail", "Ha": "hydrogen", "OIII": "oxygen", "SII": "sulphur"}
    found = {}
    for target, (name, chosen, leading) in told.items():
        rows = {row["filter"]: row["goal_h"] for row in progress if row["target"] == target}
        total = sum(rows.values())
        found[target] = {
            "name": name, "chosen_by": chosen,
            "shares": {one: round(hours / total, 4) for one, hours in rows.items()},
            "through": {one: one for one in rows},
            "purposes": {one: purposes.get(one, "colour") for one in rows}, "leading": leading,
            "goal_h": total, "goal_from": "goal" if chosen == "goal" else "ceiling",
            "hours_to_snr": 16.0, "wanted_snr": 30.0, "reached_snr": 15.0,
            "short_set": None, "short_set_reason": "no_core_saturates",
        }  # fmt: skip
    return found


def plan_blocks(clock: Clock, frames: dict) -> None:
    def go(target: str) -> None:
        clock.event("slew_centre", target, 180.0)
        clock.event("focus", target, 240.0)

    def change(target: str) -> None:
        clock.event("filter_change", target, 8.0)
        clock.event("focus", target, 240.0)

    north, great, heart = (frames[name] for name in frames)
    go("NGC 7000")
    clock.block(north, "Ha", "high", 300.0, 11, "H-alpha while the moon is up")
    clock.event("flip", "NGC 7000", 180.0)
    go("NGC 7000")
    clock.block(north, "SII", "high", 300.0, 8, "suffers least from the moon still up")
    change("NGC 7000")
    clock.block(north, "Ha", "high", 300.0, 11, "H-alpha until the moon is down")
    go("M 31")
    clock.block(great, "B", "low", 120.0, 19, "blue near the meridian, where air is thinnest")
    change("M 31")
    clock.block(
        great,
        "L",
        "low",
        60.0,
        45,
        "L is at its best now (at 85° altitude, moon down, worth 0.99 against 0.41 4.9 h earlier); "
        "changing places with R would lose 12 % of both",
    )
    clock.event("flip", "M 31", 180.0)
    go("M 31")
    clock.block(great, "L", "low", 60.0, 46, "darkest hours of the night")
    change("M 31")
    clock.block(great, "G", "low", 120.0, 14, "still high; red minds thick air least and waits")
    change("M 31")
    clock.block(great, "R", "low", 120.0, 14, "red last, where air thickens")
    go("IC 1805")
    clock.block(heart, "OIII", "high", 300.0, 12, "O III on a moonless sky")
    change("IC 1805")
    clock.block(heart, "Ha", "high", 300.0, 16, "furthest behind of what is left")


if __name__ == "__main__":
    main()
