"""How each train frames a target, and what the guider will see."""

from __future__ import annotations

import os
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from nightplan.library.earlier import Remembered, remembered
from nightplan.library.inputs import catalog_and_rows, night_of, value_in
from nightplan.library.outputs import Answer, coords_of, quantity, table_of

if TYPE_CHECKING:
    from astropy.coordinates import Angle, SkyCoord
    from astropy.table import QTable
    from astropy.units import Quantity
    from astropy.wcs import WCS
    from matplotlib.figure import Figure

    from nightplan.library.inputs import AnyEvening, AnyTarget
    from nightplan.library.keeping import Composition
    from nightplan.model.catalog import Catalog
    from nightplan.model.config import Config
    from nightplan.model.star_catalog import StarCatalog
    from nightplan.planning.choosing.frame_answer import FrameAnswer
    from nightplan.report.documents.frame import FrameDocument
    from nightplan.report.page.page_style import SheetStyle


class Framed(Answer):
    """A target framed, in astropy objects.

    Attributes
    ----------
    answer : FrameAnswer
        The planner's own: every train, the guider, groups.
    """

    def __init__(
        self,
        memory: Remembered,
        catalog: Catalog,
        answer: FrameAnswer,
        asked: Composition,
    ) -> None:
        self.answer = answer
        self._asked = asked
        self._config = memory.config
        self._flats_angles = memory.earlier.flats_angles
        self._catalog = catalog

    @property
    def train(self) -> str:
        """The chosen train."""
        return self.answer.framing.train

    @property
    def reason(self) -> str:
        """Why this train, and what it holds."""
        return self.answer.reason

    @property
    def center(self) -> SkyCoord:
        """Centre of the field, or of the mosaic."""
        framing = self.answer.framing
        return coords_of([framing.ra_deg], [framing.dec_deg])[0]

    @property
    def position_angle(self) -> Angle:
        """Line of the sensor's long side at the centre, 0 to below 180 deg."""
        return _angle(self.answer.framing.position_angle_deg)

    @property
    def image_up_angle(self) -> Angle:
        """Direction of rising FITS axis 2 at the centre, 0 to below 360 deg."""
        return _angle(self.answer.framing.image_up_angle_deg)

    @property
    def position_angle_tolerance(self) -> Angle:
        """Largest turn either way that keeps what the framing holds."""
        return _angle(self.answer.framing.position_angle_tolerance_deg)

    @property
    def coverage(self) -> float:
        """Share of the target's area inside the panels."""
        return self.answer.framing.coverage

    @property
    def margin(self) -> Quantity:
        """Least distance from the outline to the edge, arcmin; negative outside."""

        return quantity(self.answer.framing.margin_arcmin, "arcmin")

    @property
    def panels(self) -> QTable:
        """`panel` (from 1), `center` (SkyCoord), `position_angle`, `image_up_angle` there."""

        framing = self.answer.framing
        rows = framing.panels
        return table_of(
            {
                "panel": np.arange(1, len(rows) + 1),
                "center": coords_of([row.ra_deg for row in rows], [row.dec_deg for row in rows]),
                "position_angle": quantity([row.position_angle_deg for row in rows], "deg"),
                "image_up_angle": quantity([row.image_up_angle_deg for row in rows], "deg"),
            },
            {"target": framing.target, "train": framing.train},
        )

    @property
    def trains(self) -> QTable:
        """Every train, best first: angles, `coverage`, `margin`, `panels`, field, scale, `score`.

        `time_to_snr` are equivalent hours of one field to the wanted signal to noise in the
        target's leading filter, `time_all_panels` those of all panels.
        """

        fits = self.answer.ranking.fits
        framings = [fit.framing for fit in fits]
        optics = [fit.optics for fit in fits]
        return table_of(
            {
                "train": [fit.train for fit in fits],
                "position_angle": quantity([one.position_angle_deg for one in framings], "deg"),
                "image_up_angle": quantity([one.image_up_angle_deg for one in framings], "deg"),
                "position_angle_tolerance": quantity(
                    [one.position_angle_tolerance_deg for one in framings], "deg"
                ),
                "coverage": np.array([one.coverage for one in framings]),
                "margin": quantity([one.margin_arcmin for one in framings], "arcmin"),
                "panels": np.array([len(one.panels) for one in framings]),
                "field_width": quantity([one.field_width_deg for one in optics], "deg"),
                "field_height": quantity([one.field_height_deg for one in optics], "deg"),
                "image_scale": quantity(
                    [one.image_scale_arcsec_px for one in optics], "arcsec / pix"
                ),
                "f_ratio": np.array([one.f_ratio for one in optics]),
                "time_to_snr": quantity([fit.hours_to_snr for fit in fits], "h"),
                "time_all_panels": quantity([fit.hours_all_panels for fit in fits], "h"),
                "score": np.array([fit.score for fit in fits]),
            },
            {"target": self.answer.target.name},
        )

    @property
    def guide_stars(self) -> QTable:
        """Stars in the guider's patch: `meridian` (`before` or `after`), `coord`, `g_mag`, ...

        `distance` is from the middle of the patch, `edge` to its nearest edge. `meta` holds each
        side's `state` and `expected` count. Empty without a guider.
        """

        guide = self.answer.guide
        sides = (
            {}
            if guide is None
            else {"before": guide.before_meridian, "after": guide.after_meridian}
        )
        found = [(name, star) for name, side in sides.items() for star in side.stars]
        return table_of(
            {
                "meridian": [name for name, _ in found],
                "coord": coords_of(
                    [star.ra_deg for _, star in found], [star.dec_deg for _, star in found]
                ),
                "g_mag": quantity([star.g_mag for _, star in found], "mag"),
                "distance": quantity([star.distance_arcmin for _, star in found], "arcmin"),
                "edge": quantity([star.edge_arcmin for _, star in found], "arcmin"),
            },
            {
                "state": {name: side.state for name, side in sides.items()},
                "expected": {name: float(side.expected_count) for name, side in sides.items()},
            },
        )

    @property
    def better_image_up_angle(self) -> Angle | None:
        """An image up within the framing's freedom at which the guider does better, or None."""
        guide = self.answer.guide
        if guide is None or guide.better_image_up_angle_deg is None:
            return None
        return _angle(guide.better_image_up_angle_deg)

    @property
    def usable_tonight(self) -> Quantity:
        """Time on the clock inside the window and all limits of the leading filter."""

        return quantity(self.answer.hours_tonight, "h")

    @property
    def document(self) -> FrameDocument:
        """The JSON document of `nightplan frame`."""
        from nightplan.report.documents.frame import frame_document

        return frame_document(self.answer)

    def _text(self, full: bool) -> str:
        from nightplan.report.texts.frame_text import frame_text

        return frame_text(self.document, full=full)

    def wcs(self, panel: int = 1) -> WCS:
        """World coordinates of one panel's picture, from 1.

        Raises
        ------
        nightplan.errors.InputError
            There is no such panel.
        """
        from astropy.wcs import WCS

        from nightplan.errors import InputError
        from nightplan.report.exports.fits_header import panel_header

        panels = self.answer.framing.panels
        if not 1 <= panel <= len(panels):
            raise InputError("library", "panel", panel, f"1 to {len(panels)}")
        optics = self.answer.chosen.optics
        header = panel_header(panels[panel - 1], optics, self.answer.target.name)
        header["NAXIS"] = 2
        header["NAXIS1"], header["NAXIS2"] = optics.width_px, optics.height_px
        return WCS(header)

    def figure(self, *, style: str = "day", narrow: bool = False) -> Figure:
        """The fields over real stars as a matplotlib figure."""
        from nightplan.report.charts.chart_scene import chart_scene
        from nightplan.report.charts.framing_chart import framing_figure

        scene = chart_scene(
            self._config,
            self.answer.target,
            self.answer.framing,
            self.answer.framings,
            catalog=self._catalog,
            guide=self.answer.guide,
        )
        return framing_figure(scene, style=style, narrow=narrow)

    def save_chart(
        self, path: str | os.PathLike[str], *, style: str = "day", narrow: bool = False
    ) -> None:
        """Save the fields over real stars: .png, .svg or .pdf."""
        from nightplan.report.charts.framing_chart import save_framing_chart

        save_framing_chart(
            path,
            self._config,
            self.answer.target,
            self.answer.framing,
            self.answer.framings,
            style=style,
            narrow=narrow,
            catalog=self._catalog,
            guide=self.answer.guide,
        )

    def save_page(self, path: str | os.PathLike[str], *, style: SheetStyle = "day") -> None:
        """Write the page with the dial to turn the camera on (.html), in day, red or print."""
        from nightplan.files import check_ending, write_whole
        from nightplan.report.page.framing_page import framing_page

        check_ending(path, "a page", (".html", ".htm"))
        page = framing_page(
            self._config,
            self.answer.target,
            self.answer,
            style=style,
            flats_angles=self._flats_angles,
        )
        write_whole(path, page)

    def save_header(self, path: str | os.PathLike[str]) -> None:
        """Write a FITS file whose headers hold the coordinates of every panel."""
        from nightplan.report.exports.fits_header import write_header_file

        write_header_file(path, self._config, self.answer.framing)

    def save_footprint(self, path: str | os.PathLike[str]) -> None:
        """Write the panels as .ecsv, VOTable (.vot) or STC-S region (.stcs)."""
        from nightplan.report.exports.footprint import write_footprint

        write_footprint(path, self._config, self.answer.framing)

    def record(self) -> None:
        """Store every panel in the journal, to come back to, and the composition if one was asked
        for; as `--record`.

        Raises
        ------
        nightplan.errors.FileError
            The journal cannot be written.
        """
        from nightplan.library.keeping import keep_composition, keep_framing

        keep_framing(self._config, self.answer.framing)
        if self._asked.given:
            keep_composition(self._config, self.answer.target, self._asked)


def frame(
    config: Config,
    target: AnyTarget,
    evening: AnyEvening = None,
    *,
    train: str | None = None,
    angle: Quantity | str | None = None,
    centre: SkyCoord | str | None = None,
    panels: int | None = None,
    group: int | None = None,
    journal: bool = True,
    stars: StarCatalog | None = None,
) -> Framed:
    """Frame a target with every train; as `nightplan frame`.

    Parameters
    ----------
    config : Config
    target : str, SkyCoord, FixedTarget or Target
        A place without a size is framed as a point with the wanted margin about it.
    evening : date, str, Time or None
        As of `night`; only the hours of that night depend on it.
    train : str, optional
        The train to take; by default the best.
    angle : Quantity, optional
        The position angle wanted, 0 to below 180 deg.
    centre : SkyCoord or str, optional
        The centre wanted, of the field or the mosaic; as text "RA,DEC" (ICRS), or "target" for its
        own middle.
    panels : int, optional
        Largest number of panels; 1 is a single field, whatever it cuts.
    group : int, optional
        The composition with neighbours to take, from 1, of those that this call proposes.
    journal : bool
        Keep a composition, an angle of earlier nights, or of flats that still hold, where it
        serves.
    stars : StarCatalog, optional
        Stars for the guider; by default the bundled ones and the configuration's file.

    Raises
    ------
    nightplan.errors.InputError
        The configuration has no such train, or an angle, a number of panels or a group is out of
        range.
    nightplan.errors.TargetError
        The name is unknown or ambiguous.
    """

    from nightplan.library.keeping import asked_composition, composed
    from nightplan.planning.choosing.frame_answer import frame_answer
    from nightplan.planning.framing.camera_angle import check_position_angle

    catalog, (row,) = catalog_and_rows(config, [target])
    found = catalog.target(row)
    asked = asked_composition(centre, panels, group)
    angle_deg = None if angle is None else check_position_angle(value_in("angle", angle, "deg"))
    memory = remembered(config) if journal else Remembered(config)
    known = composed(memory.config, found, catalog, asked, angle_deg=angle_deg, train=train)
    earlier = memory.earlier
    answer = frame_answer(
        known,
        night_of(known, evening),
        found,
        catalog,
        train=train,
        angle_deg=angle_deg,
        used_angles={
            name: earlier.used_angles.get((found.name, name), ()) for name in config.train
        },
        flats_angles=earlier.flats_angles,
        stars=stars,
    )
    return Framed(replace(memory, config=known), catalog, answer, asked)


def _angle(degrees: float) -> Angle:
    from astropy.coordinates import Angle

    return Angle(degrees, "deg")
