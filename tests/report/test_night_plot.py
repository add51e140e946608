"""The night's picture: right edges, readable labels, no colour but red in the red style.

Twilight edges are checked against ephem (Brandon Rhodes; VSOP87), and the change of clocks
against Directive 2000/84/EC: summer time ends at 01:00 UTC on the last Sunday of October.
"""

from __future__ import annotations

import datetime as dt
import io
import itertools
import re
from dataclasses import replace
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from matplotlib.backends.backend_agg import FigureCanvasAgg
from PIL import Image

from nightplan.errors import FileError, InputError
from nightplan.model.filter_roles import ROLES
from nightplan.model.starter import demo_config
from nightplan.report.looks.style import figure_bytes, save_figure
from nightplan.report.plots.altitude_plot import night_figure
from nightplan.report.plots.curve_names import BANDS, band_edges
from nightplan.report.plots.filter_lanes import target_spans
from nightplan.report.plots.label_place import place_labels
from nightplan.report.plots.night_picture import NightPicture, PictureTarget, runs
from nightplan.report.plots.time_axis import axis_title, clock_changes, whole_hours
from nightplan.report.wording.local_time import moment, utc_mjd

LISBON = ZoneInfo("Europe/Lisbon")
BOTH_LAYOUTS = pytest.mark.parametrize("narrow", [False, True], ids=["wide", "narrow"])


def test_twilight_edges_agree_with_ephem(picture):
    import ephem

    site = demo_config().site
    place = ephem.Observer()
    place.lat, place.lon = str(site.latitude_deg), str(site.longitude_deg)
    place.elevation, place.pressure = 0.0, 0.0
    place.date = "2027/10/06 12:00:00"
    bands = band_edges(picture("picture"))
    order = [BANDS[index] for *_, index in bands]
    assert order == [*BANDS, *BANDS[-2::-1]]
    for start, level in zip([band[0] for band in bands[1:5]], (-0.833, -6, -12, -18), strict=True):
        place.horizon = str(level)
        setting = place.next_setting(ephem.Sun(), use_center=True)
        # 10-minute samples and straight lines between them: good to half a minute.
        assert abs(start - (float(setting) + 15019.5)) * 86400.0 < 30.0


def test_hours_of_the_wall_clock_through_a_change():
    start, end = utc_mjd("2027-10-30T21:30:00Z"), utc_mjd("2027-10-31T03:30:00Z")
    ticks = whole_hours(start, end, LISBON)
    assert [f"{when:%H}" for _, when in ticks] == ["23", "00", "01", "01", "02", "03"]
    hours = [mjd * 24.0 for mjd, _ in ticks]
    assert np.diff(hours) == pytest.approx(1.0, abs=1e-6)
    ((mjd, before, after),) = clock_changes(start, end, LISBON)
    assert moment(mjd) == dt.datetime(2027, 10, 31, 1, 0, tzinfo=dt.UTC)
    assert (before, after) == ("+01:00", "+00:00")
    assert axis_title(start, end, LISBON) == "local time, UTC+01:00 then UTC+00:00"


def test_hours_of_a_zone_off_by_a_quarter_hour():
    start, end = utc_mjd("2027-10-06T12:00:00Z"), utc_mjd("2027-10-06T14:00:00Z")
    ticks = whole_hours(start, end, ZoneInfo("Asia/Kathmandu"))  # UTC+05:45
    assert [f"{moment(mjd):%H:%M}" for mjd, _ in ticks] == ["12:15", "13:15"]


@settings(deadline=None, max_examples=80)
@given(st.lists(st.booleans(), max_size=40))
def test_runs_are_the_stretches_of_true(mask):
    found = runs(mask)
    rebuilt = [any(a <= i <= b for a, b in found) for i in range(len(mask))]
    assert rebuilt == mask
    assert all(b + 1 < c for (_, b), (c, _) in itertools.pairwise(found))


@BOTH_LAYOUTS
@pytest.mark.parametrize(("name", "planned"), [("picture", True), ("picture_clock_change", False)])
def test_labels_lie_inside_and_apart(picture, name, planned, narrow):
    night = picture(name, planned=planned)
    figure = night_figure(night, narrow=narrow)
    figure.canvas.draw()
    renderer = FigureCanvasAgg(figure).get_renderer()
    frame = figure.bbox
    texts = list(figure.texts)
    names = {target.name for target in night.targets}
    for axes in figure.axes:
        texts += [*axes.texts, *axes.get_xticklabels(), *axes.get_yticklabels(), axes.xaxis.label]
    shown = [text for text in texts if text.get_text() and text.get_visible()]
    for text in shown:
        box = text.get_window_extent(renderer)
        assert min(box.x0 - frame.x0, frame.x1 - box.x1) > -1.0, text.get_text()
        assert min(box.y0 - frame.y0, frame.y1 - box.y1) > -1.0, text.get_text()
    labels = [text for text in figure.axes[0].texts if text.get_text() in names | {"moon"}]
    assert {text.get_text() for text in labels} == names
    for one, two in itertools.combinations(labels, 2):
        assert not one.get_window_extent(renderer).overlaps(two.get_window_extent(renderer))


def low_moon(night: NightPicture, shift_days: float) -> NightPicture:
    """The night with a moon that rises or sets in a twilight."""
    times = night.utc_mjd + shift_days
    altitude = 40.0 * np.cos((times - night.utc_mjd[0]) * 2.0 * np.pi) - 34.0
    return replace(night, moon_altitude_deg=altitude)


@BOTH_LAYOUTS
@pytest.mark.parametrize("shift_days", [0.0, 0.02, 0.05, -0.03])
def test_names_of_curves_keep_off_names_of_twilights(picture, shift_days, narrow):
    night = low_moon(picture(), shift_days)
    figure = night_figure(night, narrow=narrow)
    renderer = FigureCanvasAgg(figure).get_renderer()
    boxes = {text: text.get_window_extent(renderer) for text in figure.axes[0].texts}
    assert narrow or any(text.get_text() in BANDS for text in boxes)
    for one, two in itertools.combinations(boxes, 2):
        assert not boxes[one].overlaps(boxes[two]), (one.get_text(), two.get_text())
    # A moon without room for its name is named in the key.
    written = [text.get_text() for text in (*boxes, *figure.texts)]
    assert any("moon, " in text for text in written)


def test_every_block_is_in_its_lane_with_its_count(picture):
    night = picture()
    lanes = night_figure(night).axes[1]
    ticks = [label.get_text() for label in lanes.get_yticklabels()]
    assert ticks == ["target", *dict.fromkeys(block.filter for block in night.blocks)]
    written = [text.get_text() for text in lanes.texts]
    for block in night.blocks:
        assert f"{block.count} × {block.sub_s:g} s" in written
    spans = target_spans(night)
    assert [target for *_, target in spans] == ["NGC 7000", "M 31", "IC 1805"]
    patches = [patch.get_extents() for patch in lanes.patches]
    for block in night.blocks:
        left, right = (
            lanes.transData.transform((edge, 0.0))[0]
            for edge in (block.start_utc_mjd, block.end_utc_mjd)
        )
        assert any(abs(p.x0 - left) < 0.5 and abs(p.x1 - right) < 0.5 for p in patches)


@BOTH_LAYOUTS
def test_red_style_has_no_green_and_no_blue(picture, narrow):
    figure = night_figure(picture(), style="red", narrow=narrow)
    pixels = np.asarray(Image.open(io.BytesIO(figure_bytes(figure, dpi=100.0))).convert("RGB"))
    assert pixels[..., 1:].max() == 0
    assert pixels[..., 0].max() > 240


def test_day_style_tells_filters_apart_without_colour(picture):
    lanes = night_figure(picture()).axes[1]
    hatches = {patch.get_hatch() for patch in lanes.patches}
    filters = {block.filter for block in picture().blocks}
    # One filter (L) is plain; the outlines and the target lane are plain too.
    assert len(hatches - {None, ""}) == len(filters) - 1


def test_files_by_ending(picture, tmp_path):
    for ending, magic in ((".png", b"\x89PNG"), (".svg", b"<?xml"), (".pdf", b"%PDF")):
        path = tmp_path / f"night{ending}"
        save_figure(path, night_figure(picture()))
        assert path.read_bytes().startswith(magic)
    first = (tmp_path / "night.svg").read_bytes()
    save_figure(tmp_path / "night.svg", night_figure(picture()))
    assert (tmp_path / "night.svg").read_bytes() == first
    with pytest.raises(FileError, match=r"must end in \.png"):
        save_figure(tmp_path / "night.bmp", night_figure(picture()))
    assert sorted(p.name for p in tmp_path.iterdir()) == ["night.pdf", "night.png", "night.svg"]


def test_a_night_without_darkness_is_a_sentence(picture):
    night = picture()
    bare = NightPicture(
        site=night.site,
        evening=night.evening,
        zone=night.zone,
        utc_mjd=night.utc_mjd,
        sun_altitude_deg=np.full(night.utc_mjd.shape, 5.0),
        moon_altitude_deg=np.full(night.utc_mjd.shape, -20.0),
        moon_illuminated_fraction=0.9,
    )
    assert [BANDS[index] for *_, index in band_edges(bare)] == ["sun up"]
    # Said rather than drawn as an empty frame.
    figure = night_figure(bare)
    assert figure.axes == []
    assert "the sun stays too high" in " ".join(figure.texts[0].get_text().split())
    dusk = replace(bare, sun_altitude_deg=np.full(night.utc_mjd.shape, -14.0))
    assert night_figure(dusk).axes


def test_wrong_shapes_are_refused(picture):
    night = picture()
    with pytest.raises(InputError, match="skyline of M 31"):
        NightPicture(
            site=night.site,
            evening=night.evening,
            zone=night.zone,
            utc_mjd=night.utc_mjd,
            sun_altitude_deg=night.sun_altitude_deg,
            moon_altitude_deg=night.moon_altitude_deg,
            moon_illuminated_fraction=0.5,
            targets=(PictureTarget("M 31", night.sun_altitude_deg, np.zeros(3)),),
        )


def test_label_goes_where_there_is_room():
    x = np.linspace(0.0, 400.0, 81)
    low = np.column_stack((x, np.full_like(x, 50.0)))
    crossing = np.column_stack((x, 0.5 * x))
    wanted = [np.ones(81, dtype=bool), np.zeros(81, dtype=bool)]
    places = place_labels([low, crossing], wanted, [(60.0, 12.0), (60.0, 12.0)], (0, 0, 400, 200))
    for (cx, cy), curve in itertools.product(places, (low, crossing)):
        gap_x = np.maximum(np.abs(curve[:, 0] - cx) - 30.0, 0.0)
        gap_y = np.maximum(np.abs(curve[:, 1] - cy) - 6.0, 0.0)
        assert np.hypot(gap_x, gap_y).min() > 1.0


def test_planned_targets_have_colours_of_their_own_and_the_others_are_grey(picture):
    from nightplan.report.looks.contrast import contrast
    from nightplan.report.looks.palettes import (
        OTHER_TARGET,
        PALETTES,
        STYLES,
        TARGET_INKS,
        filter_look,
    )
    from nightplan.report.plots.altitude_plot import target_inks

    night = picture()
    waiting = replace(night.targets[0], name="M 33")
    shown = replace(night, targets=(*night.targets, waiting))
    for style in STYLES:
        inks = target_inks(shown, style)
        assert inks["M 33"] == OTHER_TARGET[style]
        assert all(inks[block.target] in TARGET_INKS[style] for block in night.blocks)
    assert len(set(target_inks(shown, "day").values())) == 1 + len(night.targets)
    # W3C WCAG 2.2, success criterion 1.4.11: 3 to 1 between a line and what is next to it, here
    # the night's blue, drawn at 55 % over the panel.
    for style in ("day", "dark"):
        colours = PALETTES[style]
        night_rgb, panel_rgb = (
            [int(colours[name][i : i + 2], 16) for i in (1, 3, 5)] for name in ("night", "panel")
        )
        mixed = [0.55 * a + 0.45 * b for a, b in zip(night_rgb, panel_rgb, strict=True)]
        ground = "#" + "".join(f"{round(part):02X}" for part in mixed)
        fills = {filter_look(role, style).colour for role in ROLES}
        for ink in (*TARGET_INKS[style], OTHER_TARGET[style]):
            assert contrast(ink, ground) >= 3.0, (style, ink)
            assert ink not in fills


def test_a_saved_svg_says_what_it_shows(picture, tmp_path):
    # W3C SVG 2, 5.7 and 5.8: title and desc; text stays text.
    path = tmp_path / "night.svg"
    save_figure(path, night_figure(picture()))
    svg = path.read_text(encoding="utf-8")
    assert '<title id="title">Hollow Ridge, night of Wed 6 Oct 2027</title>' in svg
    assert '<desc id="about">Heavy line: planned.' in svg
    assert 'role="img" aria-labelledby="title about"' in svg
    assert re.search(r"<text[^>]*>M 31</text>", svg)


def test_greys_of_printed_filters_are_told_apart():
    from nightplan.report.looks.palettes import filter_look

    greys = sorted(int(filter_look(role, "print").colour[1:3], 16) for role in ROLES)
    assert min(b - a for a, b in itertools.pairwise(greys)) >= 12
