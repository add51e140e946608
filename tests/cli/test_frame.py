"""`nightplan frame`: the document's keys, units and signs, and its refusals."""

import json

import pytest
from click.testing import CliRunner

from nightplan.cli.main import group
from nightplan.errors import FileError, InputError, TargetError


def run(config_file, *args):
    return CliRunner().invoke(group, ["frame", *args, "--config", str(config_file)])


def document(config_file, *args):
    result = run(config_file, *args, "--date", "2027-10-06", "--json")
    assert result.exit_code == 0, result.output
    return json.loads(result.output)


KEYS = {
    "train", "position_angle_deg", "image_up_angle_deg", "position_angle_tolerance_deg",
    "coverage", "margin_arcmin", "panels",
}  # fmt: skip


@pytest.mark.parametrize("target", ["M 31", "NGC 7000", "M 51"])
def test_document_holds_what_the_interface_names(config_file, target):
    found = document(config_file, target)
    assert KEYS | {"trains", "reason", "guide"} <= set(found)
    assert found["trains"][0]["train"] == found["train"]
    assert {row["train"] for row in found["trains"]} == {"flattener", "reducer"}
    for row in [found, *found["trains"]]:
        assert set(row) >= KEYS
        assert 0.0 <= row["position_angle_deg"] < 180.0
        assert 0.0 <= row["image_up_angle_deg"] < 360.0
        turned = (row["image_up_angle_deg"] + 90.0) % 180.0
        assert turned == pytest.approx(row["position_angle_deg"], abs=1e-3)
        assert 0.0 <= row["position_angle_tolerance_deg"] <= 90.0
        assert row["panels"]
        for panel in row["panels"]:
            assert set(panel) == {
                "ra_deg", "dec_deg", "position_angle_deg", "image_up_angle_deg",
            }  # fmt: skip
    assert all(row["hours_to_snr"] > 0.0 for row in found["trains"])
    for side in ("before_meridian", "after_meridian"):
        assert set(found["guide"][side]) >= {"state", "stars", "expected_count"}
    assert "better_image_up_angle_deg" in found["guide"]


def test_top_level_is_the_train_asked_for(config_file):
    other = {"flattener": "reducer", "reducer": "flattener"}[document(config_file, "M 51")["train"]]
    found = document(config_file, "M 51", "--train", other, "--angle", "37.5")
    assert found["train"] == other
    assert found["position_angle_deg"] == 37.5
    same = next(row for row in found["trains"] if row["train"] == other)
    assert all(same[key] == found[key] for key in KEYS)


def test_a_target_that_is_down_is_framed_all_the_same(config_file):
    found = document(config_file, "NGC 3372")
    assert found["hours_tonight"] == 0.0
    assert found["panels"]


def test_text_fits_the_terminal(config_file):
    for target in ("M 31", "M 81", "IC 1396"):
        result = run(config_file, target, "--date", "2027-10-06")
        assert result.exit_code == 0
        assert max(len(line) for line in result.output.splitlines()) <= 80
        assert "camera " in result.output.splitlines()[0]
        full = run(config_file, target, "--date", "2027-10-06", "--full")
        assert max(len(line) for line in full.output.splitlines()) <= 80
        assert len(full.output) > len(result.output)


def test_without_a_guider_the_reason_is_given(config_file):
    text = config_file.read_text(encoding="utf-8")
    start, end = text.index("[guider]"), text.index("[focuser]")
    config_file.write_text(text[:start] + text[end:], encoding="utf-8")
    found = document(config_file, "M 51")
    assert found["guide"] is None
    assert found["guide_reason"] == "no_guider"
    assert run(config_file, "M 51").exit_code == 0


@pytest.mark.parametrize(
    ("args", "error", "match"),
    [
        (("M 51", "--angle", "180"), InputError, "--angle"),
        (("M 51", "--angle", "nan"), InputError, "--angle"),
        (("M 51", "--train", "lens"), InputError, "--train = 'lens'"),
        (("M 5x",), TargetError, "M 5x"),
        (("M 51", "--date", "2027-13-01"), InputError, "--date"),
        (("M 51", "--header", "m51.png"), FileError, "m51.png"),
    ],
)
def test_bad_input_is_one_clear_line(config_file, args, error, match):
    result = run(config_file, *args)
    assert isinstance(result.exception, error)
    assert match in str(result.exception)
    assert "\n" not in str(result.exception)


def test_a_goal_for_no_filter_of_the_wheel_keeps_no_framing(config_file):
    result = run(config_file, "M 51", "--record", "--goal", "X=4")
    assert isinstance(result.exception, InputError)
    assert "'X'" in str(result.exception)
    assert [path.name for path in config_file.parent.iterdir()] == [config_file.name]


def test_chart_is_written(config_file, tmp_path):
    chart = tmp_path / "m51.png"
    result = run(config_file, "M 51", "--chart", str(chart))
    assert result.exit_code == 0, result.output
    assert chart.read_bytes().startswith(b"\x89PNG")


def test_the_target_is_told_with_sources_and_grades(config_file):
    target = document(config_file, "NGC 7000")["target"]
    wanted = {
        "name", "kind", "ra_deg", "dec_deg", "major_arcmin", "minor_arcmin",
        "position_angle_deg", "lines", "grade", "sources",
    }  # fmt: skip
    assert wanted <= set(target)
    assert target["name"] == "NGC 7000"
    assert target["lines"][0] == "H-alpha"
    assert target["grade"] in {"firm", "fair", "doubtful", "unchecked"}
    assert {"position", "size", "kind", "brightness"} <= set(target["sources"])
    text = run(config_file, "NGC 7000", "--date", "2027-10-06").output
    assert "Catalogue: emission nebula" in text


def test_hours_without_meaning_are_not_printed(config_file):
    text = run(config_file, "Sh2-240", "--date", "2027-10-06", "--full").output
    assert "more than 100 h" in text
    assert "of the hours to the wanted signal" in " ".join(text.split())
