"""`nightplan collect` end to end, on files that astropy wrote."""

from __future__ import annotations

import datetime
import json

import numpy as np
import pytest
from click.testing import CliRunner

from nightplan.cli.collect import command
from nightplan.errors import NightplanError
from nightplan.journal import Journal
from nightplan.journal import journal as journal_file
from nightplan.journal.schema import FILE_NAME


@pytest.fixture
def shot(tmp_path):
    from astropy.io import fits

    folder = tmp_path / "2027-10-06"
    folder.mkdir()
    for number in range(3):
        header = fits.Header(
            {
                "DATE-OBS": f"2027-10-06T22:{10 * number:02d}:00",
                "EXPTIME": 600.0,
                "FILTER": "Ha",
                "IMAGETYP": "Light Frame",
                "OBJECT": "NGC 7000",
                "FOCALLEN": 588.0,
            }
        )
        fits.PrimaryHDU(np.zeros((4, 6), dtype=np.uint16), header).writeto(folder / f"{number}.fit")
    (folder / "broken.fits").write_text("no")
    return folder


@pytest.fixture
def collect(config_file):
    def run(*options):
        wanted = [*map(str, options), "--config", str(config_file), "--json"]
        return json.loads(CliRunner().invoke(command, wanted, catch_exceptions=False).stdout)

    return run


def test_a_folder_twice(collect, shot):
    first = collect(shot)
    assert len(first["added"]) == 3
    assert first["added"][0]["target"] == "NGC 7000"
    assert first["added"][0]["start_utc"] == "2027-10-06T22:00:00Z"
    assert first["already_known"] == []
    assert [one["file"].rsplit("/", 1)[-1] for one in first["skipped"]] == ["broken.fits"]
    assert first["skipped"][0]["reason"]
    (row,) = first["gathered"]
    assert (row["filter"], row["train"], row["clock_h"]) == ("Ha", "reducer", 0.5)
    # Under a rising moon at altitudes above 60° an hour of Ha is worth a little less than one.
    assert 0.3 < row["equivalent_h"] < 0.5
    second = collect(shot)
    assert (len(second["added"]), len(second["already_known"])) == (0, 3)


def test_a_file_of_another_kind_is_told_too(collect, shot, config_file):
    # Of the documents' reference: every file is added, known or skipped with its reason.
    for number in range(9):
        (shot / f"preview-{number}.jpg").write_bytes(b"\xff\xd8")
    (shot / ".directory").write_text("hidden")
    skipped = {one["file"].rsplit("/", 1)[-1]: one["reason"] for one in collect(shot)["skipped"]}
    assert sorted(skipped) == ["broken.fits", *(f"preview-{number}.jpg" for number in range(9))]
    assert ".fits" in skipped["preview-0.jpg"]
    text = CliRunner().invoke(
        command, [str(shot), "--config", str(config_file)], catch_exceptions=False
    )
    assert "10 skipped" in text.stdout
    # Nine alike are told in one entry.
    assert "preview-0.jpg" in text.stdout
    assert "preview-8.jpg" not in text.stdout
    assert "4 more" in " ".join(text.stdout.split())


@pytest.mark.parametrize(
    ("kind", "filter_reason", "train_reason"),
    [
        # Common practice, no source: a dark or a bias is taken with the light shut out.
        ("Bias Frame", "not_needed", "not_needed"),
        ("Dark Frame", "not_needed", "not_needed"),
        ("Dark Flat", "no_filter_of_the_wheel", "not_needed"),
        ("Flat Field", "no_filter_of_the_wheel", "focal_length_fits_no_train"),
    ],
)
def test_calibration_frames_want_only_what_they_need(
    collect, tmp_path, kind, filter_reason, train_reason
):
    from astropy.io import fits

    folder = tmp_path / "shut"
    folder.mkdir()
    header = fits.Header({"DATE-OBS": "2027-10-06T12:00:00", "EXPTIME": 5.0, "IMAGETYP": kind})
    header["FOCALLEN"] = 1234.0
    fits.PrimaryHDU(np.zeros((4, 6), dtype=np.uint16), header).writeto(folder / "one.fits")
    (row,) = collect(folder)["added"]
    assert (row["filter"], row["filter_reason"]) == (None, filter_reason)
    assert (row["train"], row["train_reason"]) == (None, train_reason)


@pytest.mark.parametrize(
    ("pixels_um", "told"), [(3.9, False), (7.8, False), (3.88, False), (9.0, True), (2.4, True)]
)
def test_lights_of_another_camera_are_told(collect, shot, pixels_um, told):
    from astropy.io import fits

    with fits.open(shot / "0.fit", mode="update") as units:
        units[0].header["XPIXSZ"] = pixels_um
    found = collect(shot)
    assert len(found["added"]) == 3
    assert any("another camera" in notice for notice in found["notices"]) == told


def test_verdicts(collect, shot, config_file):
    whole = collect(shot)["gathered"][0]["equivalent_h"]
    hazy = collect(shot, "--weight", "0.6")["gathered"][0]["equivalent_h"]
    assert hazy == pytest.approx(0.6 * whole, abs=1e-3)
    rejected = collect(shot, "--reject", "clouds")
    assert rejected["judged_again"] == 3
    assert rejected["gathered"][0]["equivalent_h"] == 0.0
    assert rejected["gathered"][0]["rejected_subs"] == 3
    assert collect(shot, "--accept")["gathered"][0]["equivalent_h"] == whole
    with Journal.open(config_file.parent) as journal:
        assert journal.last_tear_down() is None
    collect(shot, "--torn-down")
    with Journal.open(config_file.parent) as journal:
        assert journal.last_tear_down() is not None


@pytest.mark.parametrize(
    ("options", "words"),
    [
        (("--weight", "1.5"), "weight"),
        (("--weight", "nan"), "weight"),
        (("--reject", " "), "--reject"),
        (("--train", "none"), "--train"),
        (("--filter", "none"), "--filter"),
        (("--target", "none such"), "none such"),
        (("--angle", "181"), "--angle"),
    ],
)
def test_faulty_options(collect, shot, config_file, options, words):
    with pytest.raises(NightplanError) as caught:
        collect(shot, *options)
    assert words in str(caught.value)
    assert "\n" not in str(caught.value)
    assert not (config_file.parent / FILE_NAME).exists()


def test_missing_folder(collect, tmp_path):
    with pytest.raises(NightplanError, match="no such folder"):
        collect(tmp_path / "nowhere")


def test_text_for_people(config_file, shot):
    wanted = [str(shot), "--config", str(config_file)]
    text = CliRunner().invoke(command, wanted, catch_exceptions=False).stdout
    assert "3 added" in text
    assert "broken.fits" in text
    assert "NGC 7000" in text


def test_each_sub_counts_for_its_worth(collect, shot, config_file):
    """Worth × exposure, worth as `exposure` prints it for the middle of each sub."""
    from nightplan.cli.exposure import command as exposure

    total = 0.0
    for minute in (5, 15, 25):
        wanted = ["NGC 7000", "--train", "reducer", "--time", f"2027-10-06T22:{minute:02d}:00Z"]
        wanted += ["--date", "2027-10-06", "--config", str(config_file), "--json"]
        document = json.loads(CliRunner().invoke(exposure, wanted, catch_exceptions=False).stdout)
        (row,) = [one for one in document["filters"] if one["filter"] == "Ha"]
        total += row["worth"] * 600.0 / 3600.0
    assert collect(shot)["gathered"][0]["equivalent_h"] == pytest.approx(total, abs=2e-4)


def test_the_journal_is_opened_once(collect, shot, config_file, monkeypatch):
    opened = []
    real = journal_file.open_writable

    def counted(path):
        opened.append(path)
        return real(path)

    monkeypatch.setattr(journal_file, "open_writable", counted)
    monkeypatch.setattr(journal_file, "open_readonly", opened.append)
    for options in ((), ("--torn-down",), ("--reject", "clouds")):
        opened.clear()
        collect(shot, *options)
        assert len(opened) == 1


def test_a_plug_pulled_after_the_subs_are_stored_leaves_them_weighed(
    collect, shot, config_file, monkeypatch
):
    from nightplan.planning.photons import sub_worth

    class PulledError(Exception):
        pass

    def pulled(*args):
        raise PulledError

    monkeypatch.setattr(sub_worth, "record_equivalents", pulled)
    with pytest.raises(PulledError):
        collect(shot)
    with Journal.open(config_file.parent) as journal:
        stored = journal.subs()
    assert len(stored) == 3
    assert all(0.0 < one.equivalent_s < 600.0 for one in stored)


def test_folders_that_cannot_be_read_are_told(collect, shot, monkeypatch):
    """As root no folder is closed, so the refusal is that of os.scandir, put in its place."""
    import os

    (shot / "closed").mkdir()
    scandir = os.scandir

    def refuse(path):
        if str(path).endswith("closed"):
            raise PermissionError(13, "Permission denied", str(path))
        return scandir(path)

    monkeypatch.setattr(os, "scandir", refuse)
    found = collect(shot)
    assert len(found["added"]) == 3
    reasons = {row["file"].rsplit("/", 1)[-1]: row["reason"] for row in found["skipped"]}
    assert reasons["closed"] == "the folder cannot be read: permission denied"


def test_a_clock_that_cannot_be_right_is_told(collect, shot):
    from astropy.io import fits

    path = shot / "0.fit"
    with fits.open(path, mode="update") as units:
        units[0].header["DATE-OBS"] = "2027-10-06T13:00:00"
    found = collect(shot)
    assert len(found["added"]) == 3
    assert any("on UTC?" in notice for notice in found["notices"])
    assert found["gathered"][0]["equivalent_h"] > 600.0 / 3600.0


def test_plan_counts_what_is_gathered_and_is_exported(collect, shot, config_file, tmp_path):
    """`plan` takes the journal's hours as they stand; its exports are read by jsonschema and
    icalendar, which are outside this project."""
    import jsonschema
    from icalendar import Calendar

    from nightplan.cli.plan import command as plan
    from nightplan.report.exports.night_exports import plan_schema

    gathered = collect(shot)["gathered"][0]["equivalent_h"]
    wanted = ["NGC 7000", "--config", str(config_file), "--date", "2027-10-08", "--json"]
    for ending in ("ics", "csv", "json"):
        wanted += ["--export", str(tmp_path / f"night.{ending}")]
    document = json.loads(CliRunner().invoke(plan, wanted, catch_exceptions=False).stdout)
    rows = [row for row in document["progress"] if row["filter"] == "Ha"]
    assert max(row["gathered_h"] for row in rows) == pytest.approx(gathered, abs=1e-3)
    jsonschema.validate(document, plan_schema())
    assert json.loads((tmp_path / "night.json").read_text(encoding="utf-8")) == document
    calendar = Calendar.from_ical((tmp_path / "night.ics").read_bytes())
    assert len(calendar.walk("VEVENT")) >= len(document["blocks"]) > 0
    assert (tmp_path / "night.csv").read_bytes().count(b"\r\n") > len(document["blocks"])


def test_recorded_framing_is_come_back_to(config_file):
    from nightplan.cli.angle import command as angle
    from nightplan.cli.frame import command as frame

    base = ["--config", str(config_file), "--date", "2027-10-06", "--json"]
    run = lambda command, *more: json.loads(  # noqa: E731
        CliRunner().invoke(command, [*more, *base], catch_exceptions=False).stdout
    )
    framed = run(frame, "M 51", "--train", "flattener", "--angle", "33", "--record")
    back = run(angle, "--position-angle", "30", "--target", "M 51")
    assert framed["position_angle_deg"] == back["target_angle_deg"] == 33.0
    assert back["move_deg"] == pytest.approx(3.0)


def test_flats_at_hand_draw_the_frame_to_their_angle(config_file):
    """A round target has no angle of its own: the one whose flats still hold is taken."""
    from nightplan.cli.frame import command as frame
    from nightplan.journal import CalibrationFrame
    from nightplan.library.earlier import remembered
    from nightplan.model.config import load_config

    base = ["M 13", "--config", str(config_file), "--date", "2027-10-06", "--json"]
    run = lambda: json.loads(CliRunner().invoke(frame, base, catch_exceptions=False).stdout)  # noqa: E731
    before = run()
    flats = [
        CalibrationFrame(
            f"flat {i}",
            "flat",
            datetime.date(2027, 10, 5),
            61683.2,
            2.0,
            "L",
            before["train"],
            41.0,
        )
        for i in range(25)
    ]
    with Journal.open(config_file.parent, writable=True) as journal:
        journal.record_calibration(flats)
    found = remembered(load_config(config_file)).earlier
    assert found.flats_angles[before["train"]] == (41.0,)
    assert before["position_angle_deg"] != 41.0
    assert run()["position_angle_deg"] == 41.0
    with Journal.open(config_file.parent, writable=True) as journal:
        journal.record_tear_down(61683.5)
    assert run()["position_angle_deg"] == before["position_angle_deg"]
