"""Framing charts: where things land against astropy.wcs, and what each style promises."""

from __future__ import annotations

import io
from dataclasses import replace

import numpy as np
import pytest
from matplotlib.backends.backend_agg import FigureCanvasAgg

from nightplan.errors import FileError, InputError
from nightplan.model.catalog_reading import load_catalog
from nightplan.model.star_catalog import StarCatalog, StarList
from nightplan.model.starter import demo_config
from nightplan.model.target import Target
from nightplan.plane.polygons import clip_convex
from nightplan.planning.framing.framing import frame_target
from nightplan.report.charts.chart_labels import Wish, around, place
from nightplan.report.charts.chart_legend import legend_rows
from nightplan.report.charts.chart_looks import shades
from nightplan.report.charts.chart_plane import ChartPlane, chart_plane
from nightplan.report.charts.chart_scene import chart_scene
from nightplan.report.charts.framing_chart import framing_figure, save_framing_chart
from nightplan.report.charts.graticule import dec_label, graticule, ra_label
from nightplan.report.looks.style import figure_bytes, new_figure, styled

CONFIG = demo_config()
POLAR = Target("Polar", 200.0, 85.0, major_arcmin=20.0, minor_arcmin=20.0)
ACROSS = Target("Across", 0.05, 10.0, major_arcmin=30.0, minor_arcmin=12.0, angle_deg=35.0)


@pytest.fixture(scope="module")
def catalog():
    return load_catalog()


def scene_of(target, train="flattener", config=CONFIG, **more):
    framings = [frame_target(config, target, name) for name in config.train]
    chosen = next(each for each in framings if each.train == train)
    return chart_scene(config, target, chosen, framings, **more)


def pixels(figure):
    from PIL import Image

    return np.asarray(Image.open(io.BytesIO(figure_bytes(figure, dpi=60))).convert("RGB"))


@pytest.mark.parametrize(("ra", "dec"), [(10.0, 41.0), (0.01, -30.0), (120.0, 88.5), (50.0, -90.0)])
def test_plane_against_astropy_wcs(ra, dec):
    """East to the left and north up, as a TAN image with CDELT1 below 0 has it."""
    from astropy.wcs import WCS

    wcs = WCS(naxis=2)
    wcs.wcs.ctype, wcs.wcs.crval, wcs.wcs.crpix = ["RA---TAN", "DEC--TAN"], [ra, dec], [1, 1]
    wcs.wcs.cdelt = [-1.0, 1.0]
    plane = ChartPlane(ra, dec, 2.0)
    xy = np.random.default_rng(1).uniform(-2, 2, (50, 2))
    sky = wcs.all_pix2world(xy + 1.0, 1)
    assert np.abs(plane.xy(sky[:, 0], sky[:, 1]) - xy).max() < 1e-9
    back = np.column_stack(plane.sky(xy[:, 0], xy[:, 1]))
    assert np.abs((back - sky + 180.0) % 360.0 - 180.0).max() < 1e-8


def test_plane_holds_what_it_must():
    box = np.array([[359.0, 10.0], [1.0, 10.0], [1.0, 12.0], [359.0, 12.0]])
    plane = chart_plane(0.0, 10.0, [box], [np.array([[10.0, 40.0]])])
    assert np.abs(plane.xy(*box.T)).max() < plane.half_deg
    assert plane.half_deg < 3.5  # a far place does not shrink the rest below a third


@pytest.mark.parametrize(
    "place_of", [(30.0, 20.0), (0.0, 0.0), (100.0, 86.0), (40.0, 89.6), (7.0, -88.0)]
)
def test_graticule_lines_lie_where_they_say(place_of):
    plane = ChartPlane(*place_of, 1.5)
    ra_lines, dec_lines = graticule(plane)
    assert 2 <= len(ra_lines) <= 13
    assert 1 <= len(dec_lines) <= 8
    for line in ra_lines:
        hours, rest = line.label.split("ʰ")
        minutes, rest = rest.split("ᵐ") if "ᵐ" in rest else (0, "")
        told = float(hours) * 15 + float(minutes) / 4 + float(rest.strip("ˢ") or 0) / 240
        ra, dec = plane.sky(*line.points.T)
        off = np.abs((ra - told + 180.0) % 360.0 - 180.0)[np.abs(dec) < 89.99]
        assert off.max() < 1e-6
        for edge, along in line.exits.items():
            x, y = {"bottom": (along, -1.5), "top": (along, 1.5), "left": (-1.5, along),
                    "right": (1.5, along)}[edge]  # fmt: skip
            ra, dec = plane.sky(x, y)
            off = abs((ra - told + 180.0) % 360.0 - 180.0) * np.cos(np.radians(dec))
            assert off < 0.02
    for line in dec_lines:
        sign = -1.0 if line.label[0] == "−" else 1.0
        degrees, minutes = line.label.strip("+−").split("°")
        told = sign * (float(degrees) + float(minutes.strip("′") or 0) / 60)
        assert np.abs(plane.sky(*line.points.T)[1] - told).max() < 1e-6


def test_labels_of_lines():
    assert ra_label(3 * 3600 + 5 * 60, 300) == "3ʰ05ᵐ"
    assert ra_label(-15, 15) == "23ʰ59ᵐ45ˢ"
    assert ra_label(7200, 3600) == "2ʰ"
    assert dec_label(-30, 30) == "−0°30′"
    assert dec_label(0, 60) == "0°"
    assert dec_label(125, 5) == "+2°05′"


def test_labels_keep_off_each_other():
    wishes = [Wish(40, 10, around(100, 100, 40, 10, 2), must=True) for _ in range(3)]
    found = place(wishes, (0, 0, 200, 200), np.array([[130.0, 100.0, 30.0]]))
    for i, (x, y) in enumerate(found):
        assert 20 <= x <= 180
        for other_x, other_y in found[:i]:
            assert abs(x - other_x) >= 40 or abs(y - other_y) >= 10
    assert found[0][0] < 100  # the first choice, to the right, is covered by the mark
    crowded = place([*wishes, *wishes, Wish(40, 10, around(100, 100, 40, 10, 2))], (0, 0, 200, 200),
                    np.empty((0, 3)))  # fmt: skip
    assert crowded[-1] is None


@pytest.mark.parametrize("train", ["flattener", "reducer"])
@pytest.mark.parametrize("target", [POLAR, ACROSS])
def test_scene_holds_everything(target, train):
    scene = scene_of(target, train)
    plane = scene.plane
    shown = [*scene.chosen.corners, *scene.others[0].corners, *scene.outlines]
    shown += [
        np.array(s.corners) for s in (scene.guide.before_meridian, scene.guide.after_meridian)
    ]
    for places in shown:
        assert np.abs(plane.xy(*places.T)).max() < plane.half_deg
    assert [each.framing.train for each in scene.others] == [n for n in CONFIG.train if n != train]
    assert np.all(np.diff(scene.stars.g_mag) >= 0)


def test_frame_corners_are_the_camera_s_field():
    """6000 x 4000 pixels of 3.9 um at 784 mm as a TAN image (astropy.wcs), to 0.01"."""
    from astropy.wcs import WCS

    from nightplan.sky.angles import separation_deg

    scene = scene_of(ACROSS)
    panel = scene.chosen.framing.panels[0]
    up = np.radians(panel.image_up_angle_deg)
    wcs = WCS(naxis=2)
    wcs.wcs.ctype = ["RA---TAN", "DEC--TAN"]
    wcs.wcs.crval, wcs.wcs.crpix = [panel.ra_deg, panel.dec_deg], [3000.5, 2000.5]
    wcs.wcs.cd = np.degrees(0.0039 / 784.0) * np.array(
        [[-np.cos(up), np.sin(up)], [np.sin(up), np.cos(up)]]
    )
    edges = np.array([[0.5, 0.5], [6000.5, 0.5], [6000.5, 4000.5], [0.5, 4000.5]])
    sky = wcs.all_pix2world(edges, 1)
    gap = separation_deg(*scene.chosen.corners[0].T, *sky.T) * 3600
    assert gap.max() < 0.01


def test_ghost_only_where_it_says_something():
    scene = scene_of(ACROSS)
    assert scene.chosen.framing.position_angle_tolerance_deg >= 89
    assert scene.ghosts == ()
    framing = replace(scene.chosen.framing, position_angle_tolerance_deg=12.0)
    ghosts = chart_scene(CONFIG, ACROSS, framing).ghosts
    assert len(ghosts) == 2
    assert not np.allclose(ghosts[0], ghosts[1])


def test_neighbours(catalog):
    """M 32, M 110 and NGC 206 lie at M 31; none is the target or a second name of it."""
    target = catalog.target(catalog.find("M 31"))
    names = [each.name for each in scene_of(target, "reducer", catalog=catalog).neighbours]
    assert {"M 32", "M 110"} <= set(names)
    assert "M 31" not in names
    assert scene_of(target, "reducer").neighbours == ()


@pytest.mark.parametrize("narrow", [False, True])
def test_red_chart_lights_red_alone(catalog, narrow):
    target = catalog.target(catalog.find("M 31"))
    scene = scene_of(target, "reducer", catalog=catalog)
    shown = pixels(framing_figure(scene, style="red", narrow=narrow))
    assert shown[..., 1:].max() == 0
    assert shown[..., 0].max() > 200


def test_red_svg_names_no_other_colour(tmp_path):
    import re

    path = tmp_path / "chart.svg"
    framing = frame_target(CONFIG, ACROSS, "flattener")
    save_framing_chart(path, CONFIG, ACROSS, framing, style="red")
    text = path.read_text()
    colours = set(re.findall(r"(?:fill|stroke): ?(#[0-9a-fA-F]{6})", text))
    assert len(colours) > 3
    assert all(colour[3:] == "0000" for colour in colours)
    assert not re.search(r"(?:fill|stroke): (?!#|none|url)", text)


@pytest.mark.parametrize("narrow", [False, True])
@pytest.mark.parametrize("name", ["M 31", "Veil Nebula"])
def test_no_name_covers_another_or_is_cut(catalog, name, narrow):
    target = catalog.target(catalog.find(name))
    figure = framing_figure(scene_of(target, catalog=catalog), narrow=narrow)
    figure.canvas.draw()
    renderer = FigureCanvasAgg(figure).get_renderer()
    page = figure.bbox
    boxes = []
    for axes in figure.axes:
        texts = [t for t in axes.texts if t.get_text()]
        texts += [*axes.get_xticklabels(), *axes.get_yticklabels()] if axes.axison else []
        for text in texts:
            box = text.get_window_extent(renderer)
            assert page.x0 <= box.x0 <= box.x1 <= page.x1, text.get_text()
            assert page.y0 <= box.y0 <= box.y1 <= page.y1, text.get_text()
            boxes.append((text.get_text(), box))
    for text in figure.texts:
        box = text.get_window_extent(renderer)
        assert box.x1 <= page.x1, text.get_text()
        assert float(text.get_fontsize()) >= 5.5
    overlaps = [
        (one, other)
        for i, (one, a) in enumerate(boxes)
        for other, b in boxes[:i]
        if min(a.x1, b.x1) - max(a.x0, b.x0) > 3 and min(a.y1, b.y1) - max(a.y0, b.y0) > 3
    ]
    assert overlaps == []


def test_licence_line_and_mirrored_note():
    config = CONFIG.model_copy(
        update={
            "train": {n: t.model_copy(update={"mirrored": True}) for n, t in CONFIG.train.items()}
        }
    )
    figure = framing_figure(scene_of(ACROSS, config=config))
    words = " ".join(text.get_text() for text in figure.texts)
    assert "CC BY-SA 3.0 IGO" in words
    assert "ESA/Gaia/DPAC" in words
    assert "mirrored" in words
    plain = " ".join(text.get_text() for text in framing_figure(scene_of(ACROSS)).texts)
    assert "mirrored" not in plain


def test_legend_says_the_guiders_state():
    def words(stars):
        figure = framing_figure(scene_of(ACROSS, stars=stars))
        return " ".join(text.get_text() for text in figure.axes[1].texts)

    empty = StarList("made up", *np.array([[180.0], [-40.0], [5.0]]), 10.0)
    assert "a star is unlikely" in words(StarCatalog(empty))
    rng = np.random.default_rng(0)
    ra, dec = rng.uniform(-6, 6, 4000) % 360.0, rng.uniform(4, 16, 4000)
    dense = words(StarCatalog(StarList("made up", ra, dec, np.full(4000, 8.3), 10.0)))
    assert "star of G 8.3" in dense


def test_refusals(tmp_path):
    framing = frame_target(CONFIG, ACROSS, "flattener")
    with pytest.raises(FileError, match=r"\.png, \.svg or \.pdf"):
        save_framing_chart(tmp_path / "chart.jpg", CONFIG, ACROSS, framing)
    with pytest.raises(InputError, match="day, dark, red, print"):
        save_framing_chart(tmp_path / "chart.png", CONFIG, ACROSS, framing, style="loud")
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize(
    ("kind", "magic"), [("png", b"\x89PNG"), ("svg", b"<?xml"), ("pdf", b"%PDF")]
)
def test_formats(tmp_path, kind, magic):
    framing = frame_target(CONFIG, ACROSS, "flattener")
    path = tmp_path / f"chart.{kind}"
    save_framing_chart(path, CONFIG, ACROSS, framing)
    assert path.read_bytes().startswith(magic)


@pytest.mark.parametrize("narrow", [False, True])
@pytest.mark.parametrize("name", ["M 31", "NGC 281", "NGC 7000"])
def test_guider_labels_stand_clear_of_their_boxes(catalog, name, narrow):
    scene = scene_of(catalog.target(catalog.find(name)), catalog=catalog)
    figure = framing_figure(scene, narrow=narrow)
    axes, renderer = figure.axes[0], FigureCanvasAgg(figure).get_renderer()
    sides = {"before": scene.guide.before_meridian, "after": scene.guide.after_meridian}
    for when, side in sides.items():
        (label,) = [t for t in axes.texts if t.get_text().split()[:2] == ["guider", when]]
        box = label.get_window_extent(renderer)
        corners = axes.transData.transform(scene.plane.xy(*np.array(side.corners).T))
        letters = [(box.x0, box.y0), (box.x1, box.y0), (box.x1, box.y1), (box.x0, box.y1)]
        assert len(clip_convex(letters, corners)) < 3


def test_outlined_letters_are_as_wide_as_they_are_measured():
    """What is placed by its measured width must not come out wider."""
    from matplotlib.patheffects import withStroke

    figure = new_figure((4.0, 1.0))
    with styled():
        text = figure.text(0.1, 0.5, "guider after meridian, G 7.3", fontsize=7.5)
        text.set_path_effects([withStroke(linewidth=0.1, foreground="#FFFFFF")])
        box = text.get_window_extent(FigureCanvasAgg(figure).get_renderer())
    from PIL import Image

    shown = np.asarray(Image.open(io.BytesIO(figure_bytes(figure, dpi=figure.dpi))).convert("L"))
    columns = np.flatnonzero((shown < 128).any(axis=0))
    assert columns[0] >= box.x0 - 1.5
    assert columns[-1] <= box.x1 + 1.5
    assert columns[-1] - columns[0] >= 0.95 * box.width


def test_a_neighbour_cut_by_the_field_is_told(catalog):
    """M 110 lies 36 arcmin to the north-west of M 31 (any atlas): a field along M 31 cuts it."""
    scene = scene_of(catalog.target(catalog.find("M 31")), catalog=catalog)
    assert [each.name for each in scene.neighbours if each.cut] == ["M 110"]
    rows = [row.text for column in legend_rows(scene) for row in column]
    assert any(row.endswith("the edge cuts M 110") for row in rows)


def test_shades_of_a_galaxy_are_isophotes_of_a_mean_disc():
    """Exponential from 21.65 B at the centre to the edge at 25 (Freeman 1970, ApJ 160, 811)."""
    for share, mag in zip(shades("galaxy"), (25.0, 24.0, 23.0, 22.0), strict=True):
        # Surface brightness of I = I0 exp(-r/h), with h from the edge's 3.35 mag.
        scale_length = 1.0 / ((25.0 - 21.65) / (2.5 * np.log10(np.e)))
        assert 21.65 + 2.5 * np.log10(np.exp(share / scale_length)) == pytest.approx(mag)
    assert shades("open_cluster") == (1.0,)


def test_legend_says_to_which_magnitude_stars_are_drawn(catalog):
    target = catalog.target(catalog.find("NGC 7000"))
    for most in (100, 5000):
        scene = scene_of(target, catalog=catalog, most_stars=most)
        faintest = scene.stars.g_mag.max() if most == 100 else 10.0
        assert scene.stars_to_mag == pytest.approx(faintest)
        words = [row.text for column in legend_rows(scene) for row in column]
        assert any(f"all to G {round(faintest, 1):g}" in text for text in words)
        assert any("by density" in text and "to G 12" in text for text in words)


def test_neighbours_are_listed_by_kind(catalog):
    scene = scene_of(catalog.target(catalog.find("NGC 7000")), catalog=catalog)
    rows = [row.text for row in legend_rows(scene)[1]]
    assert {"clusters", "dark clouds", "nebulae"} <= set(rows)
    assert "galaxies" not in rows
