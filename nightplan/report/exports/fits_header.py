"""A framing as a FITS file whose headers say where every pixel would lie.

Open standards: FITS 4.0 (Pence et al. 2010, A&A 524, A42, and the standard of 2018), world
coordinates by Calabretta & Greisen 2002 (TAN), tile compression (the standard's section 10). The
first panel is the primary picture, all zeros and one byte a pixel, so that every reader finds its
size and coordinates in the first header as in that of a frame; tools that take a header as their
wish (plate solvers, stackers that build a mosaic's canvas) need nothing else. The same panel and
all others stand in extensions, packed into a few kilobytes each.
"""

from __future__ import annotations

import gzip
import io
import os
from typing import TYPE_CHECKING

import numpy as np

from nightplan.files import check_ending, write_whole
from nightplan.planning.optics.train_optics import TrainOptics, train_optics
from nightplan.sky.tangent_plane import axes_directions

if TYPE_CHECKING:
    from astropy.io.fits import Header

    from nightplan.model.config import Config
    from nightplan.planning.framing.framing import Framing, Panel

_TILE_ROWS = 100
FITS_ENDINGS = tuple(
    f".{name}{packed}" for name in ("fits", "fit", "fts") for packed in ("", ".gz")
)


def panel_header(panel: Panel, optics: TrainOptics, target: str = "") -> Header:
    """World-coordinate cards of one panel.

    The reference pixel is the middle of the sensor (FITS counts the first pixel's centre as 1),
    and the matrix holds the direction of both axes there: rising axis 2 at the panel's
    `image_up_angle_deg`, rising axis 1 a quarter turn west of it, or east in a mirrored train.
    """
    from anyascii import anyascii
    from astropy.io.fits import Header

    step_deg = float(np.degrees(optics.pixel_um / 1000.0 / optics.focal_length_mm))
    (xi1, eta1), (xi2, eta2) = axes_directions(panel.image_up_angle_deg, optics.mirrored)
    cards = [
        ("WCSAXES", 2, "number of world-coordinate axes"),
        ("CTYPE1", "RA---TAN", "right ascension, gnomonic projection"),
        ("CTYPE2", "DEC--TAN", "declination, gnomonic projection"),
        ("CUNIT1", "deg", ""),
        ("CUNIT2", "deg", ""),
        ("CRVAL1", panel.ra_deg, "[deg] right ascension of the centre"),
        ("CRVAL2", panel.dec_deg, "[deg] declination of the centre"),
        ("CRPIX1", (optics.width_px + 1) / 2.0, "[px] centre along axis 1"),
        ("CRPIX2", (optics.height_px + 1) / 2.0, "[px] centre along axis 2"),
        ("CD1_1", step_deg * float(xi1), "[deg/px]"),
        ("CD1_2", step_deg * float(xi2), "[deg/px]"),
        ("CD2_1", step_deg * float(eta1), "[deg/px]"),
        ("CD2_2", step_deg * float(eta2), "[deg/px]"),
        ("LONPOLE", 180.0, "[deg] native longitude of the celestial pole"),
        ("RADESYS", "ICRS", "celestial reference system"),
        ("IMAGEW", optics.width_px, "[px] width of the picture, axis 1"),
        ("IMAGEH", optics.height_px, "[px] height of the picture, axis 2"),
        ("FOCALLEN", optics.focal_length_mm, "[mm] focal length"),
        ("XPIXSZ", optics.pixel_um, "[um] pixel size along axis 1"),
        ("YPIXSZ", optics.pixel_um, "[um] pixel size along axis 2"),
        ("POSANGLE", panel.position_angle_deg, "[deg] line of the sensor's long side"),
        ("IMGUPANG", panel.image_up_angle_deg, "[deg] direction of rising axis 2"),
    ]
    header = Header(cards)
    if target:
        # FITS cards hold ASCII, 68 characters of it (FITS standard 4.0, sections 4.1 and 4.2.1).
        header["OBJECT"] = (anyascii(target)[:68], "target framed")
    return header


def header_file_bytes(config: Config, framing: Framing) -> bytes:
    """The FITS file of a framing: the first panel as a plain picture, every panel as a packed one.

    The primary unit is panel 1; extension n is panel n, of full size once unfolded.
    """
    from astropy.io import fits

    optics = train_optics(config, framing.train)
    zeros = np.zeros((optics.height_px, optics.width_px), dtype=np.uint8)
    primary = fits.PrimaryHDU(zeros)
    primary.header.update(panel_header(framing.panels[0], optics, framing.target))
    units = fits.HDUList([primary])
    for number, panel in enumerate(framing.panels, start=1):
        unit = fits.CompImageHDU(
            zeros,
            compression_type="PLIO_1",  # run lengths: no clock in it, unlike gzip
            tile_shape=(min(_TILE_ROWS, optics.height_px), optics.width_px),
            name=f"PANEL{number}",
        )
        unit.header.update(panel_header(panel, optics, framing.target))
        units.append(unit)
    draft = io.BytesIO()
    units.writeto(draft)
    return draft.getvalue()


def write_header_file(path: str | os.PathLike[str], config: Config, framing: Framing) -> None:
    """Write the FITS file of a framing, whole or not at all; packed if its name ends in ``.gz``.

    Raises FileError (the file cannot be written, or its name is not that of a FITS file).
    """
    check_ending(path, "a FITS file", FITS_ENDINGS)
    data = header_file_bytes(config, framing)
    if os.fspath(path).endswith(".gz"):
        data = gzip.compress(data, mtime=0)
    write_whole(path, data)
