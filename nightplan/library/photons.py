"""What each filter collects of a target, and what an hour is worth."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from nightplan.library.inputs import evening_of, targets_of, utc_mjd_of, value_in
from nightplan.library.outputs import Pictured, quantity, table_of, time_of

if TYPE_CHECKING:
    from astropy.table import QTable
    from astropy.time import Time
    from astropy.units import Quantity
    from matplotlib.figure import Figure

    from nightplan.library.inputs import AnyEvening, AnyTarget
    from nightplan.model.config import Config
    from nightplan.planning.choosing.exposure import Exposure
    from nightplan.report.documents.exposure import ExposureDocument


class Photons(Pictured):
    """One target at one moment through every filter of a train, in astropy objects.

    Attributes
    ----------
    exposure : Exposure
        The planner's own.
    """

    def __init__(self, exposure: Exposure) -> None:
        self.exposure = exposure

    @property
    def train(self) -> str:
        """The train."""
        return self.exposure.train

    @property
    def time(self) -> Time:
        """The moment."""
        return time_of(self.exposure.utc_mjd)

    @property
    def sky(self) -> dict[str, Quantity]:
        """The sky at the target, V: altitudes and angles (deg), `extinction` (mag an airmass),
        `dark` and `total` (mag/arcsec²); its parts `moonlight` (Krisciunas & Schaefer 1991 as
        printed), `moonlight_used`, `twilight` in nanolamberts are numbers."""
        there = self.document.sky
        return {
            "target_altitude": quantity(there.target_altitude_deg, "deg"),
            "moon_altitude": quantity(there.moon_altitude_deg, "deg"),
            "moon_separation": quantity(there.moon_separation_deg, "deg"),
            "moon_phase_angle": quantity(there.moon_phase_angle_deg, "deg"),
            "sun_altitude": quantity(there.sun_altitude_deg, "deg"),
            "extinction": quantity(there.extinction_v_mag_airmass, "mag"),
            "dark": quantity(there.dark_v_mag_arcsec2, "mag / arcsec2"),
            "total": quantity(there.total_v_mag_arcsec2, "mag / arcsec2"),
            "moonlight_nl": quantity(there.moonlight_v_nl, ""),
            "moonlight_used_nl": quantity(there.moonlight_used_v_nl, ""),
            "twilight_nl": quantity(there.twilight_v_nl, ""),
        }

    @property
    def filters(self) -> QTable:
        """Every filter: `sky` (AB, mag/arcsec²), `sky_rate`, `target_rate` (electron/s/pixel),
        `gain`, `sub`, `sub_bound`, `sub_extra_noise`, `snr_one_hour` (per square arcsecond,
        shutter open), `worth`, `time_to_snr` (equivalent time to the wanted signal to noise)."""
        exposure = self.exposure
        budget = exposure.budget
        rate = "electron / (pix s)"
        wanted = exposure.config.preferences.wanted_snr
        names = budget.filter_names
        return table_of(
            {
                "filter": list(names),
                "sky": quantity(budget.sky_mag_arcsec2[0, :, 0], "mag / arcsec2"),
                "sky_rate": quantity(budget.sky_rate_e_s_px[0, :, 0], rate),
                "target_rate": quantity(budget.target_rate_e_s_px[0, :, 0], rate),
                "brightness_source": [
                    budget.light.brightness_source(0, column) for column in range(len(names))
                ],
                "gain": list(budget.gain),
                "sub": quantity(budget.sub_s, "s"),
                "sub_bound": list(budget.sub_bound),
                "sub_extra_noise": budget.sub_extra_noise[0, :, 0],
                "snr_one_hour": budget.snr_one_hour[0, :, 0],
                "worth": budget.worth[0, :, 0],
                "time_to_snr": quantity(budget.hours_to_snr(wanted)[0], "h"),
            },
            {
                "target": exposure.target.name,
                "train": exposure.train,
                "wanted_snr": wanted,
            },
        )

    def worth_through_the_night(self, step: Quantity | str = "5 min") -> QTable:
        """Worth of every filter at every step of the window: `time`, one column a filter."""

        budget = self.exposure.through_the_night(value_in("step", step, "min"))
        columns = {name: budget.worth[0, row] for row, name in enumerate(budget.filter_names)}
        return table_of(
            {
                "time": time_of(budget.utc_mjd),
                "altitude": quantity(budget.geometry.altitude_deg[0], "deg"),
                "moon_altitude": quantity(budget.geometry.moon_altitude_deg, "deg"),
                **{name: np.array(values) for name, values in columns.items()},
            },
            {"target": self.exposure.target.name, "train": self.exposure.train},
        )

    @property
    def document(self) -> ExposureDocument:
        """The JSON document of `nightplan exposure`."""
        from nightplan.report.documents.exposure import exposure_document

        return exposure_document(self.exposure)

    def _text(self, full: bool) -> str:
        from nightplan.report.texts.exposure_text import exposure_text

        return exposure_text(self.document, self.exposure.config.site, full=full)

    def figure(self, *, style: str = "day", narrow: bool = False) -> Figure:
        """Worth against time for every filter as a matplotlib figure."""
        from nightplan.report.plots.worth_plot import worth_figure

        return worth_figure(self.exposure, style=style, narrow=narrow)


def exposure(
    config: Config,
    target: AnyTarget,
    evening: AnyEvening = None,
    *,
    train: str | None = None,
    time: Time | None = None,
) -> Photons:
    """Sky and target rates, gain, sub, signal to noise and worth; as `nightplan exposure`.

    Parameters
    ----------
    config : Config
    target : str, SkyCoord, FixedTarget or Target
    evening : date, str, Time or None
        As of `night`; with `time` alone, the night that holds it.
    train : str, optional
        By default the one that fits the target best.
    time : Time, optional
        The moment; by default the target's best of the night.

    Raises
    ------
    nightplan.errors.InputError
        The configuration has no such train, or the time is outside the night.
    nightplan.errors.TargetError
        The name is unknown or ambiguous.
    """
    from nightplan.library.earlier import with_stored_goals
    from nightplan.planning.choosing.exposure import exposure_of
    from nightplan.planning.tonight.limits import planned_night

    config = with_stored_goals(config)
    (found,) = targets_of(config, [target])
    date = evening_of(config.site, time if evening is None and time is not None else evening)
    utc_mjd = None if time is None else float(utc_mjd_of(time))
    return Photons(exposure_of(config, planned_night(config, date), found, train, utc_mjd))
