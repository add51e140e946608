"""Several rigs and sites in one file, and what the journal keeps apart."""

import json

import pytest
from click.testing import CliRunner

import nightplan
from nightplan.cli.main import group
from nightplan.errors import ConfigError, InputError
from nightplan.journal import Journal, Sub
from nightplan.model.config import load_config, parse_config
from nightplan.model.starter import starter_text

LENS = """
[other_rig.lens]
without = ["rotator", "guider"]
[other_rig.lens.optics]
aperture_mm = 50
focal_length_mm = 200
[other_rig.lens.train.flattener]
factor = 1.0
"""
VALLEY = """
[other_site."Dark Valley"]
latitude_deg = 39.0
longitude_deg = -7.0
elevation_m = 700
timezone = "Europe/Lisbon"
sky_mag_arcsec2 = 21.8
drive_min = 75
[other_site."Dark Valley".horizon]
profile_deg = [[0, 5], [180, 10]]
"""


@pytest.fixture
def file(tmp_path):
    path = tmp_path / "nightplan.toml"
    path.write_text(starter_text() + LENS + VALLEY, encoding="utf-8")
    return path


def test_the_first_rig_and_site_are_the_default(file, demo):
    config = load_config(file)
    assert (config.optics, config.site, config.horizon) == (demo.optics, demo.site, demo.horizon)
    assert config.named_rig == ""


def test_another_rig_has_its_own_tables_and_shares_the_rest(file, demo):
    lens = load_config(file, rig="lens")
    assert lens.optics.focal_length_mm == 200.0
    assert list(lens.train) == ["flattener"]
    assert (lens.rotator, lens.guider) == (None, None)
    assert lens.camera == demo.camera
    assert "lens" in lens.rig_name
    assert load_config(file, rig="main").optics == demo.optics


def test_another_site_has_its_own_sky_and_skyline(file):
    there = load_config(file, site="Dark Valley")
    assert (there.site.name, there.site.drive_min) == ("Dark Valley", 75.0)
    assert there.horizon.profile_deg == ((0.0, 5.0), (180.0, 10.0))


def test_a_default_can_be_set(file):
    text = file.read_text(encoding="utf-8")
    wanted = '[preferences]\nrig = "lens"\nsite = "Dark Valley"\n'
    config = parse_config(text.replace("[preferences]\n", wanted))
    assert config.named_rig == "lens"
    assert config.site.name == "Dark Valley"


def test_goals_keep_what_the_rig_can_do(file):
    more = """
[other_rig.colour.filter.UV]
role = "luminance"
centre_nm = 550
width_nm = 300
peak_transmission = 0.9
clear_aperture_mm = 48
[goal."M 31"]
hours = { L = 4.0, UV = 3.0 }
"""
    text = file.read_text(encoding="utf-8") + more
    assert parse_config(text).goal["M 31"].hours == {"L": 4.0}
    assert parse_config(text, rig="colour").goal["M 31"].hours == {"UV": 3.0}


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("[other_rig.x.optics]\naperture_mm = 3\nfocal_length_mm = 200", "other_rig.x.optics"),
        (
            '[other_rig.x.wheel]\ndistance_to_sensor_mm = 20\nloaded = ["UV"]',
            "other_rig.x.wheel.loaded",
        ),
        ('[other_rig.x]\nwithout = ["lens"]', "one of rotator, guider, power"),
        ("[other_rig.main]", "another name"),
        ('[other_site.x]\nlatitude_deg = 99.0', "other_site.x.latitude_deg"),
    ],
)  # fmt: skip
def test_faults_of_any_rig_or_site_are_found_at_once(text, words):
    with pytest.raises(ConfigError) as caught:
        parse_config(f"{starter_text()}\n{text}\n")
    assert words in str(caught.value)


def test_unknown_names_list_those_there_are(file):
    with pytest.raises(InputError, match="one of main, lens"):
        load_config(file, rig="x")
    with pytest.raises(InputError, match="one of main, Dark Valley"):
        load_config(file, site="x")
    with pytest.raises(ConfigError, match=r"preferences\.rig"):
        parse_config(starter_text().replace("[preferences]\n", '[preferences]\nrig = "x"\n'))


def sub(name):
    return Sub(
        identity=name,
        target="M 31",
        filter="L",
        evening=__import__("datetime").date(2027, 10, 6),
        start_utc_mjd=61_685.0,
        exposure_s=3600.0,
        train="flattener",
    )


def test_trains_named_alike_share_no_hours(file, tmp_path):
    main, lens = load_config(file), load_config(file, rig="lens")
    with Journal.of(main, writable=True) as journal:
        journal.record_subs([sub("one")])
        journal.record_framing("M 31", 1, "flattener", 10.7, 41.3, 35.0, 305.0, False)
    with Journal.of(lens) as journal:
        assert journal.gathered("M 31", "L") == 0.0
        assert journal.framings() == []
        assert journal.other_rigs() == [""]
    # The same file with another telescope, its trains named as before.
    text = file.read_text(encoding="utf-8")
    other = tmp_path / "other.toml"
    other.write_text(text.replace("focal_length_mm = 784", "focal_length_mm = 500"))
    with Journal.of(load_config(other), writable=True) as journal:
        assert journal.gathered("M 31", "L") == 0.0
        journal.record_subs([sub("two")])
        assert journal.gathered("M 31", "L") == 1.0
    # A focal length measured anew is the same telescope; hours are as they were.
    other.write_text(text.replace("focal_length_mm = 784", "focal_length_mm = 790"))
    with Journal.of(load_config(other)) as journal:
        assert journal.gathered("M 31", "L") == 1.0
        assert {one.identity for one in journal.subs()} == {"one"}


def test_one_camera_shares_its_darks_with_all_its_telescopes(file):
    from nightplan.journal import CalibrationFrame

    main, lens = load_config(file), load_config(file, rig="lens")

    def frame(kind):
        return CalibrationFrame(
            kind, kind, sub("x").evening, 61_685.0, 60.0, filter="L", train="flattener"
        )

    with Journal.of(main, writable=True) as journal:
        journal.record_calibration([frame("flat"), frame("dark"), frame("bias")])
    with Journal.of(lens) as journal:
        assert [one.kind for one in journal.calibration_frames()] == ["dark", "bias"]


def run(file, *args):
    found = CliRunner().invoke(
        group, [*args, "--config", str(file), "--date", "2027-10-06"], catch_exceptions=False
    )
    assert found.exit_code == 0, found.output
    return found.stdout


def test_where_to_drive_counts_the_way(file):
    text = file.read_text(encoding="utf-8")
    leave = '[preferences.setup]\nleave = "20:00"\n'
    file.write_text(text.replace("[preferences.setup]\n", leave))
    found = json.loads(run(file, "night", "--all-sites", "--json"))
    near, far = found["sites"]
    assert (near["site"], far["site"]) == ("Hollow Ridge", "Dark Valley")
    assert far["arrival_utc"] == "2027-10-06T20:15:00Z"  # 20:00 + 75 min at UTC+1
    assert far["ready_utc"] > near["ready_utc"]
    assert near["usable_hours"] > far["usable_hours"]
    assert near["worth_h"] is None
    assert near["worth_h_reason"] == "not_asked_for"
    table = run(file, "night", "--all-sites")
    assert max(len(line) for line in table.splitlines()) <= 80
    alone = json.loads(run(file, "night", "--site", "Dark Valley", "--json"))
    assert far["dark_hours"] == alone["dark_hours"]


def test_the_library_compares_sites_as_the_command_does(file):
    told = json.loads(run(file, "night", "--all-sites", "--json"))
    # At whichever site the configuration is, all of the file are compared, the first one first.
    for site in (None, "Dark Valley"):
        found = nightplan.nights_by_site(nightplan.load_config(file, site=site), "2027-10-06")
        assert json.loads(found.to_json()) == told
        table = found.table
        assert list(table["site"]) == [one["site"] for one in told["sites"]]
        hours = [one["usable_hours"] for one in told["sites"]]
        assert table["usable_time"].to_value("hour") == pytest.approx(hours, abs=1e-3)
    ranked = nightplan.targets_by_site(nightplan.load_config(file), "2027-10-06", count=2)
    told = json.loads(run(file, "pick", "--all-sites", "--count", "2", "--json"))
    assert json.loads(ranked.to_json()) == told
    best = max(told["sites"][0]["targets"], key=lambda one: one["first_site_h"])
    assert ranked.table["target"][0] == best["name"]
    with pytest.raises(InputError, match="count"):
        nightplan.targets_by_site(nightplan.load_config(file), count=0)


def test_a_darker_site_is_worth_more_of_a_galaxy(file):
    """Without a way to count, the same night under a darker sky: more for each hour."""
    text = file.read_text(encoding="utf-8").replace("drive_min = 75", "drive_min = 0")
    text = text.replace("latitude_deg = 39.0", "latitude_deg = 38.60")
    text = text.replace("longitude_deg = -7.0\n", "longitude_deg = -7.55\n")
    file.write_text(text.replace("sky_mag_arcsec2 = 21.4", "sky_mag_arcsec2 = 19.5"))
    found = json.loads(run(file, "pick", "--all-sites", "--count", "2", "--json"))
    best, other = found["sites"]
    assert best["site"] == "Dark Valley"
    assert best["worth_h"] > other["worth_h"]
    assert len(best["targets"]) == 2
    assert other["targets"][0]["first_site_h"] == other["targets"][0]["equivalent_h"]


def test_a_plan_says_that_another_rigs_hours_do_not_count(file):
    main = load_config(file)
    with Journal.of(main, writable=True) as journal:
        journal.record_subs([sub("one")])
    text = file.read_text(encoding="utf-8")
    file.write_text(text.replace("focal_length_mm = 784", "focal_length_mm = 500"))
    found = json.loads(run(file, "plan", "M 31", "--json"))
    assert any("another rig" in one or "of a rig whose" in one for one in found["notices"])
    assert {row["gathered_h"] for row in found["progress"]} == {0.0}
