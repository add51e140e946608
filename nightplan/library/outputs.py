"""From the planner's numbers to astropy: times, quantities and tables."""

from __future__ import annotations

import os
from abc import ABC, abstractmethod
from collections.abc import Mapping, Sequence
from types import FunctionType
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import ArrayLike

from nightplan.library.gate import gated
from nightplan.planning.tonight.earth_orientation import configure_astropy

if TYPE_CHECKING:
    from astropy.coordinates import SkyCoord
    from astropy.table import QTable
    from astropy.time import Time
    from astropy.units import Quantity
    from matplotlib.figure import Figure

    from nightplan.report.documents.base import Document


class Answer(ABC):
    """What a call of the library gives back.

    `str(answer)` is the text that the command of the same name prints, `document` its JSON
    document as a pydantic model.
    """

    def __init_subclass__(cls, **kwargs: Any) -> None:
        super().__init_subclass__(**kwargs)
        for name, call in vars(cls).copy().items():
            if isinstance(call, FunctionType) and not name.startswith("_"):
                setattr(cls, name, gated(call))

    @property
    @abstractmethod
    def document(self) -> Document:
        """The JSON document that the command prints with `--json`."""

    @abstractmethod
    def _text(self, full: bool) -> str: ...

    def text(self, *, full: bool = False) -> str:
        """The text that the command prints; `full` as with its `--full`, where it has that."""
        return self._text(full)

    def __str__(self) -> str:
        return self.text()

    def to_json(self) -> str:
        """The document as JSON text."""
        return self.document.to_json()


class Pictured(Answer):
    """An answer that can be drawn."""

    @abstractmethod
    def figure(self, *, style: str = "day", narrow: bool = False) -> Figure:
        """The picture as a matplotlib figure."""

    def save_plot(
        self, path: str | os.PathLike[str], *, style: str = "day", narrow: bool = False
    ) -> None:
        """Save the picture: .png, .svg or .pdf."""
        from nightplan.report.looks.style import picture_format, save_figure

        picture_format(path)
        save_figure(path, self.figure(style=style, narrow=narrow))


def time_of(utc_mjd: float | ArrayLike) -> Time:
    """UTC MJD as an astropy Time that prints as ISO 8601; NaN becomes a masked time."""
    from astropy.time import Time

    configure_astropy()
    values = np.asarray(utc_mjd, dtype=np.float64)
    missing = np.isnan(values)
    times = Time(np.where(missing, 0.0, values), format="mjd", scale="utc")
    times.format = "isot"
    if missing.any():
        times[missing] = np.ma.masked
    return times


def optional_time(utc_mjd: float | None) -> Time | None:
    """The same for one time that may be missing."""
    return None if utc_mjd is None else time_of(utc_mjd)


def quantity(values: ArrayLike, unit: str) -> Quantity:
    """Numbers with a unit; astropy's units are loaded here, not by the modules that have some."""
    from astropy.units import Quantity

    return Quantity(values, unit)


def coords_of(ra_deg: Sequence[float], dec_deg: Sequence[float]) -> SkyCoord:
    """ICRS places."""
    from astropy.coordinates import SkyCoord

    return SkyCoord(np.asarray(ra_deg), np.asarray(dec_deg), unit="deg", frame="icrs")


def floats_of(values: Sequence[float | None]) -> np.ndarray:
    """Numbers with NaN where there is none."""
    return np.array([np.nan if value is None else value for value in values], dtype=np.float64)


def table_of(columns: Mapping[str, Any], meta: Mapping[str, Any] | None = None) -> QTable:
    """A QTable; a column of no rows keeps its kind, None texts become empty."""
    from astropy.table import QTable

    ready: dict[str, Any] = {}
    for name, values in columns.items():
        if isinstance(values, list):
            texts = [value is None or isinstance(value, str) for value in values]
            if values and all(texts):
                ready[name] = np.array([value or "" for value in values])
            else:
                ready[name] = np.array(values) if values else np.array([], dtype=str)
        else:
            ready[name] = values
    table = QTable(ready, meta=dict(meta or {}))
    for name in table.colnames:
        column = table[name]
        if isinstance(column, np.ndarray) and np.issubdtype(column.dtype, np.floating):
            # As it is printed only; the values keep all their digits.
            column.info.format = ".5g"  # type: ignore[attr-defined]
    return table
