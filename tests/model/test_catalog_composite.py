"""Frames of several targets: their hull and the rectangle around it."""

from __future__ import annotations

import numpy as np
import pytest
from astropy import units as u
from astropy.coordinates import SkyCoord, SkyOffsetFrame
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.spatial import ConvexHull

from nightplan.model.catalog import Catalog
from nightplan.model.catalog_reading import load_catalog
from nightplan.model.composite import composite_field
from nightplan.model.target import Target


@pytest.fixture(scope="module")
def catalog() -> Catalog:
    return load_catalog()


def edge_on_the_sky(target: Target, count: int = 90) -> SkyCoord:
    """Edge of a target's ellipse by astropy's great-circle offsets."""
    major, minor = target.axes_arcmin or (0.0, 0.0)
    turn = np.linspace(0.0, 2.0 * np.pi, count, endpoint=False)
    if target.angle_deg is None:
        minor = major
    along, across = major / 2.0 * np.cos(turn), minor / 2.0 * np.sin(turn)
    angle = np.degrees(np.arctan2(across, along)) + (target.angle_deg or 0.0)
    return target.coord.directional_offset_by(angle * u.deg, np.hypot(along, across) * u.arcmin)


@pytest.mark.parametrize(
    ("name", "members"),
    [
        ("heart and soul", ["IC 1805", "IC 1848"]),
        ("M 8 + M 20", ["M 8", "M 20"]),
        ("leo triplet", ["M 65", "M 66", "NGC 3628"]),
        ("markarians chain", ["M 84", "M 86", "NGC 4435", "NGC 4438", "NGC 4477"]),
        ("M81+M82", ["M 81", "M 82"]),
        ("double cluster", ["NGC 869", "NGC 884"]),
    ],
)
def test_a_frame_holds_its_members(catalog: Catalog, name: str, members: list[str]) -> None:
    """Source: members' edges laid by astropy offsets, in an astropy SkyOffsetFrame."""
    frame = catalog.target(catalog.find(name))
    assert frame.outline is not None
    assert frame.outline_source == "computed from the members' ellipses"
    hull = ConvexHull(np.array(frame.outline))
    offsets = SkyOffsetFrame(origin=frame.coord, rotation=(frame.angle_deg or 0.0) * u.deg)
    for member in members:
        edge = edge_on_the_sky(catalog.target(catalog.find(member)))
        turned = edge.transform_to(offsets)
        # the rectangle, to the rounding of the file and the curvature of the sky
        assert np.abs(turned.lat.arcmin).max() <= frame.major_arcmin / 2.0 + 0.3
        assert np.abs(turned.lon.arcmin).max() <= frame.minor_arcmin / 2.0 + 0.3
        flat = edge.transform_to(SkyOffsetFrame(origin=frame.coord)).cartesian
        east, north = (np.degrees((axis / flat.x).value) * 60.0 for axis in (flat.y, flat.z))
        beyond = hull.equations[:, :2] @ np.stack([east, north]) + hull.equations[:, 2:]
        assert beyond.max() < 0.3


@settings(max_examples=25, deadline=None)
@given(
    places=st.lists(
        st.tuples(
            st.floats(-1.5, 1.5), st.floats(-1.5, 1.5), st.floats(1.0, 80.0), st.floats(0.1, 1.0),
            st.one_of(st.none(), st.floats(0.0, 179.9)),
        ),
        min_size=1, max_size=5,
    ),
    centre=st.tuples(st.floats(0.0, 359.9), st.floats(-80.0, 80.0)),
)  # fmt: skip
def test_no_rectangle_around_the_hull_is_smaller(
    places: list[tuple[float, float, float, float, float | None]], centre: tuple[float, float]
) -> None:
    """Source: rectangles at 720 angles by brute force; hull area by scipy's qhull."""
    members = [
        Target(
            f"m{n}", round(centre[0] + east / np.cos(np.radians(centre[1])), 6) % 360.0,
            centre[1] + north,
            major_arcmin=major, minor_arcmin=major * ratio, angle_deg=angle,
        )
        for n, (east, north, major, ratio, angle) in enumerate(places)
    ]  # fmt: skip
    field = composite_field(members)
    hull = np.array(field.outline)
    turn = np.radians(np.arange(0.0, 180.0, 0.25))
    along = hull @ np.stack([np.sin(turn), np.cos(turn)])
    across = hull @ np.stack([np.cos(turn), -np.sin(turn)])
    brute = (np.ptp(along, axis=0) * np.ptp(across, axis=0)).min()
    area = field.major_arcmin * field.minor_arcmin
    assert area <= brute * (1.0 + 1e-9)
    assert area >= ConvexHull(hull).volume
    assert field.major_arcmin >= field.minor_arcmin
    assert 0.0 <= field.angle_deg < 180.0
    # the place is the rectangle's middle
    angle = np.radians(field.angle_deg)
    lengthwise = hull @ np.array([np.sin(angle), np.cos(angle)])
    assert abs(lengthwise.max() + lengthwise.min()) < 0.02


def test_the_file_is_what_the_members_give(catalog: Catalog) -> None:
    members = [catalog.target(catalog.find(name)) for name in ("IC 443", "Sh2-249")]
    field = composite_field(members)
    stored = catalog.target(catalog.find("IC 443 + Sh2-249"))
    assert stored.major_arcmin == pytest.approx(field.major_arcmin, abs=0.06)
    assert stored.angle_deg == pytest.approx(field.angle_deg, abs=0.06)
