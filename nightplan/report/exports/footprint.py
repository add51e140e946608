"""A framing's outline on the sky in the open formats of the IVOA.

STC-S polygons ("STC-S: Space-Time Coordinate metadata linear string implementation", Rots 2007,
also the `s_region` of ObsCore 1.1), and the panels as a table in ECSV or VOTable.
"""

from __future__ import annotations

import io
import os
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from nightplan.errors import FileError
from nightplan.files import write_whole
from nightplan.model.star_catalog import Floats
from nightplan.planning.optics.train_optics import TrainOptics, train_optics
from nightplan.sky.tangent_plane import field_corners

if TYPE_CHECKING:
    from astropy.table import Table

    from nightplan.model.config import Config
    from nightplan.planning.framing.framing import Framing, Panel

TABLE_FORMATS = {".ecsv": "ascii.ecsv", ".vot": "votable", ".xml": "votable"}


def stc_s(config: Config, framing: Framing) -> str:
    """The framing as one STC-S region: a polygon, or the union of a mosaic's.

    Corners run from north through east (to the left of the way lies the inside, as seen on the
    sky); degrees with seven decimals, 0.4 milliarcseconds.
    """
    optics = train_optics(config, framing.train)
    polygons = [_polygon(_corners(panel, optics)) for panel in framing.panels]
    if len(polygons) == 1:
        return f"Polygon ICRS {polygons[0]}"
    return f"Union ICRS ( {' '.join(f'Polygon {each}' for each in polygons)} )"


def panel_table(config: Config, framing: Framing) -> Table:
    """One row a panel: ``panel, ra_deg, dec_deg, position_angle_deg, image_up_angle_deg, width_deg,
    height_deg, s_region`` (STC-S polygon), with units; target and train in its `meta`.
    """
    from astropy.table import Table

    optics = train_optics(config, framing.train)
    panels = framing.panels
    table = Table(
        {
            "panel": np.arange(1, len(panels) + 1),
            "ra_deg": [panel.ra_deg for panel in panels],
            "dec_deg": [panel.dec_deg for panel in panels],
            "position_angle_deg": [panel.position_angle_deg for panel in panels],
            "image_up_angle_deg": [panel.image_up_angle_deg for panel in panels],
            "width_deg": np.full(len(panels), optics.field_width_deg),
            "height_deg": np.full(len(panels), optics.field_height_deg),
            "s_region": [f"Polygon ICRS {_polygon(_corners(panel, optics))}" for panel in panels],
        },
        meta={
            "target": framing.target,
            "train": framing.train,
            "frame": "ICRS",
            "angles": "at each panel's own centre, from north through east",
        },
    )
    for name, text in _COLUMN_WORDS.items():
        table[name].description = text
        if name.endswith("_deg"):
            table[name].unit = "deg"
    return table


_COLUMN_WORDS = {
    "panel": "number in the order of shooting",
    "ra_deg": "right ascension of the centre",
    "dec_deg": "declination of the centre",
    "position_angle_deg": "line of the sensor's long side, 0 to 180",
    "image_up_angle_deg": "direction of rising FITS axis 2, 0 to 360",
    "width_deg": "field along FITS axis 1",
    "height_deg": "field along FITS axis 2",
    "s_region": "field as STC-S polygon",
}


def write_footprint(path: str | os.PathLike[str], config: Config, framing: Framing) -> None:
    """Write the panels: .ecsv, .vot or .xml (VOTable) as a table, .stcs as one STC-S region.

    Raises FileError (the ending is another one, or the file cannot be written).
    """
    suffix = Path(path).suffix.lower()
    if suffix == ".stcs":
        write_whole(path, stc_s(config, framing) + "\n")
        return
    if suffix not in TABLE_FORMATS:
        raise FileError(path, "a footprint's name must end in .ecsv, .vot, .xml or .stcs")
    draft: io.StringIO | io.BytesIO = io.StringIO() if suffix == ".ecsv" else io.BytesIO()
    panel_table(config, framing).write(draft, format=TABLE_FORMATS[suffix])
    write_whole(path, draft.getvalue())


def _corners(panel: Panel, optics: TrainOptics) -> Floats:
    """The four corners, shape (4, 2), from north through east."""
    corners = np.column_stack(
        field_corners(
            panel.ra_deg,
            panel.dec_deg,
            panel.image_up_angle_deg,
            optics.field_width_deg,
            optics.field_height_deg,
            optics.mirrored,
        )
    )
    # Low-low, high-low, high-high, low-high: unmirrored, axis 1 runs west, so from the lower
    # east corner by west, which is from south through west: north through east all the way.
    return corners[::-1] if optics.mirrored else corners


def _polygon(corners: Floats) -> str:
    return " ".join(f"{ra % 360.0:.7f} {dec:.7f}" for ra, dec in corners)
