"""What the calls give back: the command line's own figures, in astropy objects."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from astropy import units as u
from astropy.coordinates import SkyCoord
from astropy.io import fits
from astropy.table import QTable
from astropy.time import Time
from astropy.wcs.utils import pixel_to_skycoord

import nightplan
from nightplan.errors import InputError
from nightplan.model.config import Config

EVENING = "2027-10-06"
Command = Callable[..., Any]


def test_night_is_the_command_s(config: Config, command: Command) -> None:
    shown = command("night", "--date", EVENING)
    night = nightplan.night(config, EVENING)
    assert json.loads(night.to_json()) == shown
    for name, row in zip(night.events["event"], night.events["time"], strict=True):
        assert abs(row - Time(shown[f"{name}_utc"].rstrip("Z"))) < 1 * u.s
    assert night.dark.to_value("h") == pytest.approx(shown["dark_hours"], abs=1e-4)
    assert "Window" in str(night)


def test_missing_events_are_masked_with_their_reason(demo: Config) -> None:
    polar = nightplan.config_at(
        demo,
        demo.site.model_copy(update={"latitude_deg": 78.0, "timezone": "Europe/Oslo"}),
    )
    day = nightplan.night(polar, "2027-06-21")
    assert day.sunset is None
    assert day.reason("sunset") == "always_up"
    assert day.window is None
    assert day.dark == 0 * u.hour
    events = day.events
    row = list(events["event"]).index("sunset")
    assert events["time"].mask[row]
    assert events["reason"][row] == "always_up"


def test_pick_is_the_command_s(config: Config, command: Command, tmp_path: Path) -> None:
    shown = command("pick", "--date", EVENING, "--count", "6", "--larger", "30")
    table = nightplan.pick(config, EVENING, count=6, larger=0.5 * u.deg)
    assert list(table["name"]) == [row["name"] for row in shown["targets"]]
    for row, entry in zip(table, shown["targets"], strict=True):
        assert row["score"] == pytest.approx(entry["score"], abs=1e-5)
        assert row["clock_time"].to_value("h") == pytest.approx(entry["hours"], abs=1e-3)
        assert abs(row["best"] - Time(entry["best_utc"].rstrip("Z"))) < 1 * u.s
    parts = [table[f"score_{part}"] for part in shown["targets"][0]["score_parts"]]
    assert np.allclose(np.prod(parts, axis=0), table["score"])
    # A table of the open format ECSV comes back with its units, times and places.
    path = tmp_path / "pick.ecsv"
    table.write(path)
    back = QTable.read(path)
    assert back["clock_time"].unit == u.hour
    assert np.all(back["coord"].separation(table["coord"]) < 1e-6 * u.arcsec)


def test_pick_ranks_a_place_of_one_s_own(demo: Config) -> None:
    mine = nightplan.make_target(
        "Mine", SkyCoord("01h33m50s", "+30d39m36s"), major=30 * u.arcmin, kind="galaxy",
        surface_brightness=22.5 * u.mag / u.arcsec**2,
    )  # fmt: skip
    table = nightplan.pick(demo, EVENING, only=["M 33", mine])
    assert set(table["name"]) == {"M 33", "Mine"}


def test_an_empty_pick_keeps_its_columns(demo: Config) -> None:
    table = nightplan.pick(demo, EVENING, only=["NGC 5139"])  # far south, never up here
    assert len(table) == 0
    assert table.meta["reason"]
    assert table["clock_time"].unit == u.hour


def test_frame_is_the_command_s(config: Config, command: Command) -> None:
    shown = command("frame", "NGC 7000", "--date", EVENING)
    framed = nightplan.frame(config, "NGC 7000", EVENING)
    assert json.loads(framed.to_json()) == shown
    assert framed.position_angle.deg == pytest.approx(shown["position_angle_deg"], abs=1e-3)
    centres = framed.panels["center"]
    assert centres.shape == (len(shown["panels"]),)
    for centre, panel in zip(centres, shown["panels"], strict=True):
        there = SkyCoord(panel["ra_deg"] * u.deg, panel["dec_deg"] * u.deg)
        assert centre.separation(there) < 0.01 * u.arcsec
    assert list(framed.trains["train"]) == [row["train"] for row in shown["trains"]]
    assert set(framed.guide_stars.meta["state"]) == {"before", "after"}


def test_wcs_of_a_panel_puts_up_and_centre_where_they_are_said(demo: Config) -> None:
    # Astropy's own projection reads the picture back.
    framed = nightplan.frame(demo, "M 33", EVENING, train="flattener", angle=30 * u.deg)
    wcs = framed.wcs()
    middle = pixel_to_skycoord(2999.5, 1999.5, wcs)
    above = pixel_to_skycoord(2999.5, 2000.5, wcs)
    assert middle.separation(framed.center) < 1e-3 * u.arcsec
    assert abs((middle.position_angle(above) - framed.image_up_angle).wrap_at("180d").deg) < 1e-4
    up = framed.image_up_angle.deg
    assert (up + 90.0) % 180.0 == pytest.approx(30.0)
    with pytest.raises(InputError, match="panel"):
        framed.wcs(9)


def test_chart_header_and_footprint_are_written(demo: Config, tmp_path: Path) -> None:
    framed = nightplan.frame(demo, "M 33", EVENING)
    framed.save_chart(tmp_path / "chart.svg")
    framed.save_header(tmp_path / "field.fits")
    framed.save_footprint(tmp_path / "field.ecsv")
    assert (tmp_path / "chart.svg").stat().st_size > 10_000
    assert fits.getheader(tmp_path / "field.fits")["OBJECT"] == "M 33"
    assert len(QTable.read(tmp_path / "field.ecsv")) == len(framed.panels)


def test_a_recorded_framing_is_come_back_to(config: Config) -> None:
    odd = nightplan.frame(config, "M 33", EVENING, train="flattener", angle=13 * u.deg)
    odd.record()
    again = nightplan.frame(config, "M 33", EVENING, train="flattener")
    assert again.position_angle.deg == pytest.approx(13.0)
    fresh = nightplan.frame(config, "M 33", EVENING, train="flattener", journal=False)
    assert fresh.position_angle.deg != pytest.approx(13.0)
    advice = nightplan.angle(config, position_angle=20 * u.deg, target="M 33")
    assert advice.move is not None
    assert advice.move.deg == pytest.approx(-7.0)


def test_exposure_is_the_command_s(config: Config, command: Command) -> None:
    shown = command("exposure", "M 33", "--date", EVENING)
    photons = nightplan.exposure(config, "M 33", EVENING)
    assert json.loads(photons.to_json()) == shown
    table = photons.filters
    assert table["sub"].unit == u.s
    assert (table["sky_rate"] * (1 * u.s)).unit.is_equivalent(u.electron / u.pix)
    assert list(table["filter"]) == [row["filter"] for row in shown["filters"]]
    assert np.allclose(
        table["worth"], [row["worth"] for row in shown["filters"]], rtol=0.0, atol=2e-4
    )


def test_exposure_at_a_time_and_through_the_night(demo: Config) -> None:
    moment = Time("2027-10-06T23:00:00")
    photons = nightplan.exposure(demo, "M 33", time=moment, train="reducer")
    assert abs(photons.time - moment) < 1 * u.ms
    assert photons.train == "reducer"
    table = photons.worth_through_the_night(10 * u.min)
    near = int(np.argmin(np.abs((table["time"] - moment).to_value("s"))))
    here = dict(zip(photons.filters["filter"], photons.filters["worth"], strict=True))
    assert table["L"][near] == pytest.approx(here["L"], abs=0.02)


def test_plan_tables_hold_together(planned: nightplan.Planned) -> None:
    blocks, events, ledger = planned.blocks, planned.events, planned.ledger
    start, end = planned.night.window
    assert np.all(blocks["start"] >= start - 1 * u.s)
    assert np.all(blocks["end"] <= end + 1 * u.s)
    assert np.all(blocks["start"][1:] >= blocks["end"][:-1])
    total = ledger["time"].sum()
    assert abs(total - (end - start)) < 1 * u.s
    assert events["start"].scale == "utc"
    shot = (blocks["sub"] * blocks["count"]).sum()
    (exposed,) = ledger["time"][ledger["kind"] == "exposure"]
    assert shot.to_value("min") == pytest.approx(exposed.to_value("min"))
    clock = planned.progress["tonight_clock"].sum()
    assert clock.to_value("min") == pytest.approx(exposed.to_value("min"))
    assert planned.objective <= planned.bound + 1e-9
    assert planned.targets["target"][0] == "M 33"


def test_plan_goes_into_a_calendar_and_onto_a_sheet(
    planned: nightplan.Planned, tmp_path: Path
) -> None:
    import icalendar

    planned.save_export(tmp_path / "night.ics")
    calendar = icalendar.Calendar.from_ical((tmp_path / "night.ics").read_bytes())
    assert len(calendar.walk("VEVENT")) >= len(planned.blocks)
    planned.save_plot(tmp_path / "night.svg")
    planned.save_sheet(tmp_path / "night.html", style="red", quick=True)
    assert "M 33" in (tmp_path / "night.html").read_text(encoding="utf-8")


def test_replan_keeps_what_was_shot(planned: nightplan.Planned) -> None:
    first = planned.blocks[0]
    again = planned.replan(first["end"] + 30 * u.s)
    kept = again.blocks[0]
    assert kept["filter"] == first["filter"]
    assert kept["count"] == first["count"]
    assert abs(kept["start"] - first["start"]) < 2 * u.s
    with pytest.raises(InputError, match="done"):
        planned.replan(first["end"], done={"Z": 3})


def test_plan_takes_a_place_without_a_name(demo: Config) -> None:
    plan = nightplan.plan(demo, EVENING, SkyCoord("01h33m50s", "+30d39m36s"), journal=False)
    assert list(plan.targets["target"]) == ["J013350+303936"]
    # Within the 31 x 17 arcmin of M 33, but nothing of it is taken over.
    assert plan.targets["center"][0].separation(SkyCoord("01h33m50s", "+30d39m36s")) < 1 * u.arcsec


def test_keep_and_done_need_a_start(demo: Config, planned: nightplan.Planned) -> None:
    with pytest.raises(InputError, match="with start"):
        nightplan.plan(demo, EVENING, "M 33", keep=planned)


def test_angle_reads_a_wcs_or_a_header(config: Config, tmp_path: Path) -> None:
    framed = nightplan.frame(config, "M 33", EVENING, train="flattener", angle=30 * u.deg)
    wcs = framed.wcs()
    header = wcs.to_header()
    header["NAXIS1"], header["NAXIS2"] = 6000, 4000
    path = tmp_path / "field.fits"
    framed.save_header(path)
    for solution in (wcs, header, path):
        advice = nightplan.angle(config, solution=solution, target_angle=40 * u.deg)
        assert advice.position_angle_now.deg == pytest.approx(30.0, abs=1e-4)
        assert advice.move is not None
        assert advice.move.deg == pytest.approx(10.0, abs=1e-4)
        off = (advice.image_up_angle - framed.image_up_angle).wrap_at("180d")
        assert abs(off.deg) < 1e-4
        assert advice.rotator_target is None
        assert advice.document.rotator_target_deg_reason == "no_reading"


def test_two_solutions_tell_the_sense(config: Config) -> None:
    # By hand: reading 100 -> angle 30, reading 130 -> angle 60; so the sense is +1 and the
    # wanted 45 lies at reading 115.
    advice = nightplan.angle(
        config,
        position_angle=30 * u.deg,
        rotator=100 * u.deg,
        target_angle=45 * u.deg,
        second=(60 * u.deg, 130 * u.deg),
    )
    assert advice.rotator_target is not None
    assert advice.rotator_target.deg == pytest.approx(115.0)
    assert "sense = 1" in " ".join(advice.document.notices)


def test_angle_wants_one_way_to_know_the_camera(config: Config) -> None:
    with pytest.raises(InputError, match="position_angle"):
        nightplan.angle(config, target_angle=45 * u.deg)


def test_collect_and_what_is_gathered(config: Config, tmp_path: Path) -> None:
    folder = tmp_path / "lights"
    folder.mkdir()
    for number in range(3):
        cards = {
            "IMAGETYP": "Light Frame",
            "OBJECT": "M 33",
            "FILTER": "L",
            "EXPTIME": 300.0,
            "DATE-OBS": f"2027-10-06T22:{10 + 6 * number}:00",
            "FOCALLEN": 784.0,
            "RA": 23.46,
            "DEC": 30.66,
        }
        unit = fits.PrimaryHDU(np.full((2, 2), number, dtype=np.uint16))
        unit.header.update(cards)
        unit.writeto(folder / f"{number}.fits")
    assert len(nightplan.gathered(config)) == 0
    first = nightplan.collect(config, folder)
    assert len(first.document.added) == 3, str(first)
    assert len(first.skipped) == 0
    (row,) = nightplan.gathered(config)
    assert (row["target"], row["filter"], row["accepted"]) == ("M 33", "L", 3)
    assert row["clock_time"].to_value("min") == pytest.approx(15.0)
    assert 0.0 < row["equivalent_time"].to_value("min") < 15.0  # counts for its worth
    again = nightplan.collect(config, folder, reject="clouds")
    assert len(again.document.already_known) == 3
    assert nightplan.gathered(config)["equivalent_time"][0] == 0 * u.hour


def test_season_is_the_command_s(config: Config, command: Command, tmp_path: Path) -> None:
    shown = command("season", "M 33", "--date", "2027-10-01")
    table = nightplan.season(config, "M 33", "2027-10-01", plot=tmp_path / "year.svg")
    assert len(table) == len(shown) == 365
    assert np.allclose(
        table["usable"].to_value("h"), [row["usable_hours"] for row in shown], atol=1e-3
    )
    assert (tmp_path / "year.svg").exists()


def test_campaign_is_the_command_s(config: Config, command: Command, tmp_path: Path) -> None:
    shown = command("campaign", "M 33", "--date", EVENING, "--nights", "6", "--chance", "0.5")
    coming = nightplan.campaign(config, "M 33", EVENING, 6, chance=0.5)
    assert json.loads(coming.to_json()) == shown
    assert len(coming.nights) == len(shown["nights"]) > 0
    assert coming.nights["clock_time"].unit == u.hour
    assert list(coming.finished["target"]) == ["M 33"]
    coming.save_plot(tmp_path / "calendar.svg")
    assert (tmp_path / "calendar.svg").exists()


def test_catalogue_has_places_and_units(demo: Config) -> None:
    table = nightplan.catalogue(demo)
    assert isinstance(table["coord"], SkyCoord)
    assert table["major"].unit == u.arcmin
    assert table["radial_velocity"].unit == u.km / u.s
    row = table[table["name"] == "M 31"][0]
    # M 31 by RC3 (de Vaucouleurs et al. 1991): 190 arcmin; SIMBAD's place (from memory).
    assert row["major"].to_value("arcmin") == pytest.approx(190.0, rel=0.1)
    assert row["coord"].separation(SkyCoord("00h42m44.3s", "+41d16m08s")) < 5 * u.arcsec


def test_recorded_solution_lets_a_reading_do(config_file: Path) -> None:
    text = config_file.read_text(encoding="utf-8").replace("# sense = 1 ", "sense = 1 ")
    config_file.write_text(text, encoding="utf-8")
    config = nightplan.load_config(config_file)
    assert config.rotator is not None
    assert config.rotator.sense == 1
    known = nightplan.angle(config, position_angle=30 * u.deg, rotator=100 * u.deg, evening=EVENING)
    known.record()
    # By hand: sense +1, so 15 degrees more on the scale are 15 more on the sky.
    later = nightplan.angle(config, rotator=115 * u.deg, evening=EVENING)
    assert later.position_angle_now.deg == pytest.approx(45.0)
    # The next night the camera may have come off: a first guess, and it says so.
    guess = nightplan.angle(config, rotator=115 * u.deg, evening="2027-10-07")
    assert guess.position_angle_now.deg == pytest.approx(45.0)
    assert "first guess" in " ".join(guess.advice.notices)
    with pytest.raises(nightplan.NightplanError, match="solution in the journal"):
        nightplan.angle(config, rotator=115 * u.deg, evening="2027-10-05")
