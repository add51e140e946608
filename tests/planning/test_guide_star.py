"""The guider's patch: conventions worked out on paper and against astropy.wcs, and all states."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import pytest

from nightplan.model.star_catalog import StarCatalog, StarList
from nightplan.model.starter import demo_config
from nightplan.model.target import Target
from nightplan.planning.framing.field_search import Field
from nightplan.planning.framing.field_search import place as placing
from nightplan.planning.framing.framing import frame_target
from nightplan.planning.framing.guide_brightness import (
    bright_limit_mag,
    clipping_exposure_s,
    peak_electrons,
)
from nightplan.planning.framing.guide_patch import guide_patch, patch_direction_deg
from nightplan.planning.framing.guide_star import EXPECTED_COUNT, guide_outlook, turns_of_camera_deg
from nightplan.planning.framing.kept_angles import turns_that_keep
from nightplan.planning.framing.outlines import shape_of
from nightplan.sky.angles import position_angle_deg, separation_deg

CONFIG = demo_config()
F_MM = 784.0  # of the starter's telescope; its flattener leaves it as it is
OFFSET_DEG = np.degrees(np.arctan(13.5 / F_MM))


@dataclass(frozen=True)
class Panel:
    ra_deg: float
    dec_deg: float
    image_up_angle_deg: float


@dataclass(frozen=True)
class Framing:
    image_up_angle_deg: float = 0.0
    position_angle_tolerance_deg: float = 10.0
    train: str = "flattener"
    ra_deg: float = 150.0
    dec_deg: float = 0.0
    panels: tuple[Panel, ...] = field(default=())

    def __post_init__(self):
        if not self.panels:
            panel = Panel(self.ra_deg, self.dec_deg, self.image_up_angle_deg)
            object.__setattr__(self, "panels", (panel,))


def rig(mirrored=False, rotator=True, **guider):
    trains = {
        name: train.model_copy(update={"mirrored": mirrored})
        for name, train in CONFIG.train.items()
    }
    return CONFIG.model_copy(
        update={
            "train": trains,
            "guider": CONFIG.guider.model_copy(update=guider),
            "rotator": CONFIG.rotator if rotator else None,
        }
    )


def sky(*stars, background=0.0, limit=10.0):
    """A made-up catalogue: the stars (ra, dec, mag), over a grid of so many per square degree.

    The grid keeps clear of the patches north and south of (150, 0); it fills the circles that
    the density is counted in all the same.
    """
    rows = np.array(stars, dtype=float).reshape(-1, 3)
    if background:
        step = 1.0 / np.sqrt(background)
        ra, dec = np.meshgrid(np.arange(138, 162, step), np.arange(-12, 12, step))
        away = np.hypot(ra - 150.0, np.abs(dec) - OFFSET_DEG) > 0.25
        grid = np.column_stack((ra[away], dec[away], np.full(away.sum(), 9.5)))
        rows = np.concatenate((rows, grid))
    return StarCatalog(StarList("made up", *rows.T, limit))


def outlook(stars, framing=None, **guider):
    return guide_outlook(rig(**guider), framing or Framing(), stars=stars)


NORTH = (150.0, OFFSET_DEG, 9.0)
SOUTH = (150.0, -OFFSET_DEG, 9.0)
EAST = (150.0 + OFFSET_DEG, 0.0, 9.0)
WEST = (150.0 - OFFSET_DEG, 0.0, 9.0)


@pytest.mark.parametrize(
    ("side", "image_up", "mirrored", "star"),
    [
        # Paper cases. Looking at the sky with north up, east is left: the right side is west.
        ("top", 0.0, False, NORTH),
        ("bottom", 0.0, False, SOUTH),
        ("right", 0.0, False, WEST),
        ("left", 0.0, False, EAST),
        # Camera turned so that its top looks east: its right side then looks north.
        ("top", 90.0, False, EAST),
        ("right", 90.0, False, NORTH),
        ("bottom", 90.0, False, WEST),
        ("left", 90.0, False, SOUTH),
        # A mirrored picture swaps left and right only.
        ("top", 0.0, True, NORTH),
        ("right", 0.0, True, EAST),
        ("left", 0.0, True, WEST),
        ("right", 90.0, True, SOUTH),
    ],
)
def test_where_the_patch_lies_on_paper(side, image_up, mirrored, star):
    found = outlook(sky(star), Framing(image_up), side=side, mirrored=mirrored)
    assert found.before_meridian.state == "found"
    assert found.before_meridian.stars[0].distance_arcmin == pytest.approx(0.0, abs=1e-6)
    assert found.after_meridian.state == "unlikely"
    opposite = sky((300.0 - star[0], -star[1], 9.0))
    flipped = outlook(opposite, Framing(image_up), side=side, mirrored=mirrored)
    assert flipped.before_meridian.state == "unlikely"
    assert flipped.after_meridian.state == "found"
    assert flipped.after_meridian.image_up_angle_deg == (image_up + 180.0) % 360.0


@pytest.mark.parametrize("mirrored", [False, True])
@pytest.mark.parametrize("side", ["top", "bottom", "left", "right"])
@pytest.mark.parametrize(
    ("ra", "dec", "up"), [(10.0, 41.0, 33.0), (0.1, -60.0, 200.0), (80.0, 88.0, 301.0)]
)
def test_patch_corners_against_astropy_wcs(ra, dec, up, side, mirrored):
    """The patch's corners as pixels of a TAN image (Calabretta & Greisen 2002), to 0.01"."""
    from astropy.wcs import WCS

    config = rig(mirrored=mirrored, side=side)
    wcs = WCS(naxis=2)
    wcs.wcs.ctype, wcs.wcs.crval, wcs.wcs.crpix = ["RA---TAN", "DEC--TAN"], [ra, dec], [0.5, 0.5]
    scale, u = np.degrees(0.0039 / F_MM), np.radians(up)
    sign = 1.0 if mirrored else -1.0
    wcs.wcs.cd = scale * np.array([[sign * np.cos(u), np.sin(u)], [-sign * np.sin(u), np.cos(u)]])
    along, away = 1280 * 3.75e-3 / 2, 960 * 3.75e-3 / 2
    out = 13.5 * {"top": 1, "right": 1, "bottom": -1, "left": -1}[side]
    if side in ("top", "bottom"):
        mm = [(x, out + y) for x in (-along, along) for y in (-away, away)]
    else:
        mm = [(out + x, y) for x in (-away, away) for y in (-along, along)]
    expected = wcs.all_pix2world(np.array(mm) / 0.0039 + 0.5, 1)
    direction = patch_direction_deg(config.guider, up, mirrored)
    got = np.column_stack(guide_patch(config, "flattener").corners(ra, dec, float(direction)))
    gaps = separation_deg(got[:, None, 0], got[:, None, 1], expected[:, 0], expected[:, 1]) * 3600
    assert gaps.min(axis=0).max() < 0.01
    assert gaps.min(axis=1).max() < 0.01


def test_edges_of_the_patch():
    """4.8 mm by 3.6 mm at 784 mm: half a width of 10.52' and half a height of 7.89'."""
    half_width, half_height = 2.4 / F_MM, 1.8 / F_MM
    for across, outward, inside in (
        (0.999, 0.0, True), (1.001, 0.0, False), (0.0, 0.999, True), (0.0, -1.001, False),
        (-0.99, -0.99, True), (-1.01, 0.5, False),
    ):  # fmt: skip
        # Tangent plane at the equator: eta = tan(dec) / cos(d ra), xi = tan(d ra).
        xi, eta = across * half_width, 13.5 / F_MM + outward * half_height
        delta_ra = np.arctan(xi)
        dec = np.arctan(eta * np.cos(delta_ra))
        star = (150.0 + np.degrees(delta_ra), np.degrees(dec), 9.0)
        result = outlook(sky(star))
        assert bool(result.before_meridian.stars) is inside
        if inside:
            edge = min((1 - abs(across)) * half_width, (1 - abs(outward)) * half_height)
            edge_arcmin = np.degrees(edge) * 60
            assert result.before_meridian.stars[0].edge_arcmin == pytest.approx(edge_arcmin)
    assert result.patch_width_arcmin == pytest.approx(21.05, abs=0.01)
    assert result.patch_height_arcmin == pytest.approx(15.79, abs=0.01)


def test_reducer_moves_and_grows_the_patch():
    patch, reduced = guide_patch(CONFIG, "flattener"), guide_patch(CONFIG, "reducer")
    for name in ("offset", "width", "height"):
        assert getattr(reduced, name) == pytest.approx(getattr(patch, name) / 0.75)


def test_large_sensor_is_cut_to_the_prism():
    """1936 x 5.86 um = 11.3 mm of sensor behind a prism of 8 mm by 6 mm."""
    patch = guide_patch(CONFIG, "flattener", "large")
    assert (patch.width * F_MM, patch.height * F_MM) == pytest.approx((8.0, 6.0))


def test_area_against_the_sphere():
    """Girard: the area of a spherical polygon is its angle excess."""
    patch = guide_patch(CONFIG, "reducer", "large")
    ra, dec = (np.radians(v) for v in patch.corners(150.0, 0.0, 0.0))
    v = np.column_stack((np.cos(dec) * np.cos(ra), np.cos(dec) * np.sin(ra), np.sin(dec)))
    triangles = [(v[0], v[1], v[2]), (v[0], v[2], v[3])]
    # Van Oosterom & Strackee 1983, tan(E/2) = |a b c| / (1 + ab + bc + ca).
    excess = sum(
        2 * np.arctan2(abs(np.linalg.det(t)), 1 + t[0] @ t[1] + t[1] @ t[2] + t[2] @ t[0])
        for t in triangles
    )
    assert patch.area_deg2 == pytest.approx(excess * np.degrees(1) ** 2, rel=2e-4)


def test_guider_ahead_of_the_rotator_stays_with_the_tube():
    fixed = {"turns_with_camera": False, "fixed_angle_deg": 90.0}
    for image_up in (0.0, 77.0, 180.0):
        result = outlook(sky(EAST), Framing(image_up), **fixed)
        assert result.before_meridian.state == "found"
        assert result.after_meridian.state == "unlikely"
        assert outlook(sky(WEST), Framing(image_up), **fixed).after_meridian.state == "found"
    assert result.better_image_up_angle_deg is None
    assert result.better_image_up_angle_deg_reason == "guider_does_not_turn"
    by_side = outlook(sky(WEST), Framing(45.0), side="right", turns_with_camera=False)
    assert by_side.before_meridian.state == "found"


def test_three_states():
    faint = (150.0, OFFSET_DEG, 12.5)
    assert outlook(sky(NORTH, SOUTH)).before_meridian.state == "found"
    dense = outlook(sky(faint, background=15.0))
    assert dense.before_meridian.state == "expected"
    assert dense.before_meridian.stars == ()
    assert dense.before_meridian.expected_count >= EXPECTED_COUNT
    sparse = outlook(sky(faint, background=1.0))
    assert sparse.before_meridian.state == "unlikely"
    assert 0.0 < sparse.before_meridian.expected_count < EXPECTED_COUNT
    deep_enough = outlook(sky(faint, background=15.0, limit=12.0))
    assert deep_enough.before_meridian.state == "unlikely"
    assert deep_enough.before_meridian.expected_count == 0.0


def test_expected_number_by_hand():
    """Density x area x growth of star counts, the last from the open catalogue's own counts.

    Gaia, belt of |sin b| from 0.6 to 0.7, where (150, 0) lies: 4,615 stars to G 8, 12,375 to
    G 9 and 30,867 to G 10; slopes of 0.428 and 0.397, so 0.366 and 0.335 to G 11 and 12.
    """
    result = outlook(sky(background=15.0))
    area = (4.8 / F_MM) * (3.6 / F_MM) * np.degrees(1) ** 2
    by_hand = 15.0 * area * (10 ** (0.366 + 0.335) - 1.0)
    # The made-up grid has a hole of 0.25 deg radius in the circle of 1.5 deg.
    by_hand *= 1.0 - (0.25 / 1.5) ** 2
    assert result.before_meridian.expected_count == pytest.approx(by_hand, rel=0.1)


def test_stars_come_brightest_first_and_only_above_the_limit():
    stars = [(150.05, OFFSET_DEG, 9.9), (150.0, OFFSET_DEG, 8.0), (149.95, OFFSET_DEG, 12.01)]
    found = outlook(sky(*stars, limit=13.0)).before_meridian.stars
    assert [star.g_mag for star in found] == [8.0, 9.9]
    assert found[1].distance_arcmin == pytest.approx(3.0, rel=1e-3)


def place(angle_deg: float, mag: float = 9.0) -> tuple[float, float, float]:
    """A star where the patch's middle lies when its direction is `angle_deg` (on paper: tan)."""
    x, y = OFFSET_TAN * np.sin(np.radians(angle_deg)), OFFSET_TAN * np.cos(np.radians(angle_deg))
    delta = np.arctan(x)
    return 150.0 + np.degrees(delta), np.degrees(np.arctan(y * np.cos(delta))), mag


OFFSET_TAN = 13.5 / F_MM


def test_nearest_better_angle():
    """Stars at 25° and 205°; the patch's half width is atan(2.4 / 13.5) = 10.1° of turn."""
    stars = sky(place(25.0), place(205.0))
    framing = Framing(0.0, position_angle_tolerance_deg=30.0)
    result = outlook(stars, framing)
    assert result.before_meridian.state == "unlikely"
    # Patch reaches the star when |25 - turn| sees atan(2.4 / 13.5) to its side.
    half = np.degrees(np.arcsin(2.4 / 13.5))
    assert result.better_image_up_angle_deg == np.ceil(25.0 - half)
    there = outlook(stars, Framing(result.better_image_up_angle_deg))
    assert there.before_meridian.state == there.after_meridian.state == "found"
    assert there.better_image_up_angle_deg_reason == "not_needed"
    tight = outlook(stars, Framing(0.0, position_angle_tolerance_deg=10.0))
    assert tight.better_image_up_angle_deg is None
    assert tight.better_image_up_angle_deg_reason == "no_better_angle"


def test_either_way_round_and_across_north():
    stars = sky(place(340.0), place(160.0))
    half = np.degrees(np.arcsin(2.4 / 13.5))
    better = outlook(stars, Framing(2.0, position_angle_tolerance_deg=30.0))
    assert better.better_image_up_angle_deg == np.floor(340.0 + half - 2.0) + 2.0
    better = outlook(stars, Framing(325.0, position_angle_tolerance_deg=30.0))
    assert better.better_image_up_angle_deg == np.ceil(340.0 - half)


def test_twin_is_offered_where_only_the_far_side_has_a_star():
    result = outlook(sky(SOUTH), Framing(0.0, position_angle_tolerance_deg=4.0))
    assert result.after_meridian.state == "found"
    assert result.better_image_up_angle_deg == 180.0
    near = outlook(sky(NORTH), Framing(0.0, position_angle_tolerance_deg=4.0))
    assert near.better_image_up_angle_deg is None
    assert near.rotator_turn_s == 60.0
    assert "60 s" in near.advice
    fixed = outlook(sky(NORTH), Framing(0.0, position_angle_tolerance_deg=4.0), rotator=False)
    assert fixed.rotator_turn_s is None
    assert "flip" not in fixed.advice


def test_bigger_sensor_is_offered():
    """Stars 12' off the patch's middle: outside the small one's 10.5', inside the prism's 17.5'."""
    stars = sky((150.2, OFFSET_DEG, 9.0), (150.2, -OFFSET_DEG, 9.0))
    result = outlook(stars, Framing(0.0, position_angle_tolerance_deg=0.0))
    assert result.before_meridian.state == "unlikely"
    assert result.better_sensor == "large"
    assert "'large'" in result.advice
    assert outlook(stars, fitted="large").before_meridian.state == "found"


def test_a_mosaic_is_as_good_as_its_worst_panel():
    panels = (Panel(150.0, 0.0, 0.0), Panel(150.0, 3.0, 0.0))
    both = sky(NORTH, SOUTH, (150.0, 3.0 + OFFSET_DEG, 9.0))
    result = outlook(both, Framing(panels=panels))
    assert [side.state for side in result.panels[0]] == ["found", "found"]
    assert [side.state for side in result.panels[1]] == ["found", "unlikely"]
    assert result.before_meridian.state == "found"
    assert (result.after_meridian.state, result.after_meridian.panel) == ("unlikely", 2)
    assert "panel 2" in result.advice


def test_turns_that_keep_a_rectangle():
    kept = np.zeros(180, bool)
    kept[[0, 1, 2, 170]] = True
    turns = turns_of_camera_deg(kept)
    assert sorted(turns) == [-180, -179, -178, -10, 0, 1, 2, 170]
    assert list(turns[:2]) == [0, -180]
    assert list(turns[-2:]) == [-10, 170]


def test_a_lopsided_band_is_used_to_its_end():
    """An ellipse 80' x 10' in the starter's field of 102' x 68': asked at 20° off its own axis."""
    target = Target("Bar", 150.0, 0.0, major_arcmin=80.0, minor_arcmin=10.0, angle_deg=0.0)
    framing = frame_target(CONFIG, target, "flattener", angle_deg=20.0)
    kept = turns_that_keep(CONFIG, framing, target)
    field = Field(7.8 / F_MM * 1.5, 7.8 / F_MM)
    for turn in range(0, 180, 7):
        placed = placing(shape_of(target), field, 150.0, 0.0, 20.0 + turn)
        assert kept[turn] == (placed.margin_rad * 3437.75 >= 5.0), turn
    left = np.argmin(kept)  # first turn that fails, one way
    right = np.argmin(kept[::-1])
    assert right - left >= 38
    assert framing.position_angle_tolerance_deg < left
    # A pair of stars at the far end of the band: out of reach of the even tolerance.
    up = framing.image_up_angle_deg - (right - 4)
    stars = sky(place(up), place(up + 180.0))
    assert guide_outlook(CONFIG, framing, stars=stars).better_image_up_angle_deg is None
    better = guide_outlook(CONFIG, framing, target=target, stars=stars).better_image_up_angle_deg
    assert abs((better - up + 180) % 360 - 180) <= 11


def test_no_guider():
    assert guide_outlook(CONFIG.model_copy(update={"guider": None}), Framing()) is None


@pytest.mark.parametrize(
    ("ra", "dec"), [(10.685, 41.27), (0.02, 20.0), (217.5, 85.0), (30.0, 89.9)]
)
def test_found_stars_are_real_ones(ra, dec):
    """With the open catalogue: every star listed lies in the direction of the patch."""
    for image_up in (0.0, 120.0, 250.0):
        result = guide_outlook(CONFIG, Framing(image_up, 90.0, ra_deg=ra, dec_deg=dec))
        for past, side in enumerate((result.before_meridian, result.after_meridian)):
            middle = position_angle_deg(ra, dec, side.ra_deg, side.dec_deg)
            assert middle == pytest.approx((image_up + 180.0 * past) % 360.0)
            for star in side.stars:
                away = separation_deg(side.ra_deg, side.dec_deg, star.ra_deg, star.dec_deg) * 60
                assert away < np.hypot(10.6, 8.0)
                assert star.g_mag <= 10.0


def test_a_star_that_clips_is_no_guide_star() -> None:
    """A G 5 star north of the field, where the patch is: it clips in any useful exposure."""
    bright = (150.0, float(OFFSET_DEG), 5.0)
    found = outlook(sky(bright, background=1.0), side="top")
    side = found.before_meridian
    assert side.state != "found"
    assert side.stars == ()
    assert [star.g_mag for star in side.too_bright] == [5.0]
    assert "G 5.0 that clips" in found.advice
    fainter = outlook(sky(bright, (150.0, float(OFFSET_DEG) + 0.01, 9.0)), side="top")
    assert fainter.before_meridian.state == "found"
    assert [star.g_mag for star in fainter.before_meridian.stars] == [9.0]


def test_the_configured_bright_limit_holds() -> None:
    star = (150.0, float(OFFSET_DEG), 8.0)
    taken = outlook(sky(star), side="top")
    assert taken.before_meridian.state == "found"
    assert "clips after 0.9 s" in taken.advice
    refused = outlook(sky(star), side="top", bright_limit_magnitude=8.5)
    assert refused.bright_limit_mag == 8.5
    assert refused.before_meridian.state != "found"


def test_the_bright_limit_by_hand() -> None:
    """AB 0 gives 8563 photons/s/cm²/nm at 640 nm (3.63e-20/(h λ)), over 420 nm 3.60e6.

    112 mm without obstruction: 98.5 cm²; glass 0.95 × 0.97, 0.6 e a photon: 1.96e8 e/s. Pixels of
    0.987″ in seeing of 2.5″: erf(0.8326 × 0.395)² = 0.128; 2.51e7 e/s in the brightest pixel, so
    15,000 e in 0.5 s are G 7.3.
    """
    guider = CONFIG.guider
    assert guider is not None
    assert peak_electrons(CONFIG, guider, "flattener", 0.0) == pytest.approx(2.51e7, rel=0.02)
    assert bright_limit_mag(CONFIG, guider, "flattener") == pytest.approx(7.3, abs=0.03)
    assert clipping_exposure_s(CONFIG, guider, "flattener", 5.0) < 2.0


def test_a_bright_limit_past_the_faint_one_is_refused() -> None:
    values = CONFIG.guider.model_dump() | {"bright_limit_magnitude": 12.5}
    with pytest.raises(ValueError, match="below limit_magnitude, 12"):
        type(CONFIG.guider).model_validate(values)
