"""Calibration frames that a plan's subs will want, where no journal says what is there already."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any


def calibration_of_plan(
    plan: Mapping[str, Any], sensor_temperature_c: float | None = None
) -> list[dict[str, Any]]:
    """Flats per filter, train, angle and gain, darks per sub length and gain, of tonight's blocks.

    Parameters
    ----------
    plan : mapping
        A plan document.
    sensor_temperature_c : float, optional
        Set-point of the camera, °C.

    Returns
    -------
    list of dict
        Rows as `nightplan.report.sheet.render_sheet` takes them: 20 flats each and 20 darks each
        (common practice, no source). Flats carry no time: their length follows the sky.
    """
    flats: dict[tuple[Any, ...], None] = {}
    darks: dict[tuple[str, float], None] = {}
    for row in plan["blocks"]:
        angle = round(float(row["position_angle_deg"]), 1)
        flats[(row["filter"], row["train"], angle, row["gain"])] = None
        darks[(row["gain"], float(row["sub_s"]))] = None
    rows: list[dict[str, Any]] = [
        {
            "kind": "flat",
            "filter": name,
            "train": train,
            "position_angle_deg": angle,
            "gain": gain,
            "count": 20,
        }
        for name, train, angle, gain in flats
    ]
    rows += [
        {
            "kind": "dark",
            "gain": gain,
            "sub_s": sub_s,
            "sensor_temperature_c": sensor_temperature_c,
            "count": 20,
            "minutes": 20.0 * sub_s / 60.0,
        }
        for gain, sub_s in darks
    ]
    return rows
