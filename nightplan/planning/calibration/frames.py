"""Calibration frames owed: what tonight's subs want less what the journal holds and is still good.

Flats belong to a filter, a train and a camera angle: dust and vignetting move with the camera.
They are stale once the camera is turned beyond the tolerance or has come off. Darks belong to a
sub length, a gain and a sensor temperature, and age. Flat-darks have the flats' exposure and gain;
where the bias is stable, bias frames stand in for them. All common practice, no source.
"""

from __future__ import annotations

import datetime
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Literal

from nightplan.journal.records import CalibrationFrame, CalibrationKind
from nightplan.sky.angles import axis_turn_deg

if TYPE_CHECKING:
    from nightplan.model.config import Config

Reason = Literal["none_yet", "too_few", "camera_turned", "torn_down", "too_old"]

SAME_LENGTH = 0.01
"""Share by which a dark may differ in length from the sub."""
FLAT_DARK_LENGTH = 0.2
"""Share by which a flat-dark may differ in length from the flats."""
SMALL_READOUT_S = 0.5


@dataclass(frozen=True)
class LightUse:
    """A kind of sub that was or will be shot; position angle as of the camera's long side."""

    filter: str
    train: str
    position_angle_deg: float
    gain: str
    sub_s: float


@dataclass(frozen=True)
class OwedFrames:
    """One set of calibration frames still to be shot.

    `have` counts those at hand that serve; `minutes` is the time for the rest, with downloads.
    What a kind does not depend on is none. `sub_s` is the exposure; of flats the middle of the
    allowed range, for it follows the light.
    """

    kind: CalibrationKind
    count: int
    have: int
    minutes: float
    reason: Reason
    filter: str | None = None
    train: str | None = None
    position_angle_deg: float | None = None
    gain: str | None = None
    sub_s: float | None = None
    sensor_temperature_c: float | None = None

    def row(self) -> dict[str, Any]:
        """As the field sheet takes it: without what does not apply."""
        values = {**vars(self), "minutes": round(self.minutes, 1)}
        if self.kind in ("flat", "flat_dark"):
            values.pop("sub_s")
        return {key: value for key, value in values.items() if value is not None}


def uses_of_blocks(blocks: Sequence[Mapping[str, Any]]) -> list[LightUse]:
    """Kinds of sub in the blocks of a plan document, in their order, each once."""
    return list(
        dict.fromkeys(
            LightUse(
                filter=str(block["filter"]),
                train=str(block["train"]),
                position_angle_deg=float(block["position_angle_deg"]),
                gain=str(block["gain"]),
                sub_s=float(block["sub_s"]),
            )
            for block in blocks
        )
    )


def frames_owed(
    config: Config,
    uses: Sequence[LightUse],
    have: Sequence[CalibrationFrame],
    evening: datetime.date,
    torn_down_utc_mjd: float | None = None,
) -> list[OwedFrames]:
    """Sets of frames to shoot, flats first, then flat-darks or bias, then darks.

    Parameters
    ----------
    uses : sequence of LightUse
        What is shot tonight; angles within the tolerance of each other share their flats.
    have : sequence of CalibrationFrame
        What the journal holds.
    evening : datetime.date
        Tonight: darks and bias age toward it.
    torn_down_utc_mjd : float or None
        When the camera last came off.
    """
    owed: list[OwedFrames] = []
    for use in _distinct_flats(config, uses):
        owed += _flats(config, use, have, torn_down_utc_mjd)
    temperature = config.camera.sensor_temperature_c
    for gain in dict.fromkeys(use.gain for use in uses):
        if config.calibration.bias_stable:
            fresh, reason = _fresh(config, have, evening, "bias", gain, None)
            owed += _set(
                config, "bias", config.calibration.bias, fresh, reason, 0.0,
                gain=gain, sub_s=0.0, sensor_temperature_c=temperature,
            )  # fmt: skip
    for gain, sub_s in dict.fromkeys((use.gain, use.sub_s) for use in uses):
        fresh, reason = _fresh(config, have, evening, "dark", gain, sub_s)
        owed += _set(
            config, "dark", config.calibration.darks, fresh, reason, sub_s,
            gain=gain, sub_s=sub_s, sensor_temperature_c=temperature,
        )  # fmt: skip
    return owed


def dark_sets(config: Config, have: Sequence[CalibrationFrame]) -> tuple[tuple[str, float], ...]:
    """Gain and sub length, s, of every whole set of darks at the sensor's temperature.

    Age is left out: darks that are too old are shot anew, at the length in use.
    """
    wish, temperature = config.calibration, config.camera.sensor_temperature_c
    counts: dict[tuple[str, float], int] = {}
    for one in have:
        taken_c = one.sensor_temperature_c
        if one.kind != "dark" or one.gain not in config.camera.gain or taken_c is None:
            continue
        if abs(taken_c - temperature) > wish.dark_tolerance_c + 1e-9:
            continue
        length_s = next(
            (s for _, s in counts if abs(one.exposure_s - s) <= SAME_LENGTH * s), one.exposure_s
        )
        counts[one.gain, length_s] = counts.get((one.gain, length_s), 0) + 1
    return tuple(pair for pair, count in counts.items() if count >= max(1, wish.darks))


def angles_with_flats(
    config: Config,
    train: str,
    filters: Sequence[str],
    have: Sequence[CalibrationFrame],
    torn_down_utc_mjd: float | None = None,
) -> tuple[float, ...]:
    """Position angles at which every one of the filters has its flats and they still hold."""
    angles = dict.fromkeys(
        one.position_angle_deg
        for one in have
        if one.kind == "flat" and one.train == train and one.position_angle_deg is not None
    )
    good = []
    for angle in angles:
        uses = [LightUse(name, train, angle, "", 0.0) for name in filters]
        enough = config.calibration.flats
        if uses and all(
            len(_good_flats(config, use, have, torn_down_utc_mjd)) >= enough for use in uses
        ):
            good.append(angle)
    return tuple(good)


def _distinct_flats(config: Config, uses: Sequence[LightUse]) -> list[LightUse]:
    found: list[LightUse] = []
    for use in uses:
        if not any(
            (use.filter, use.train) == (other.filter, other.train)
            and _near(config, use.position_angle_deg, other.position_angle_deg)
            for other in found
        ):
            found.append(use)
    return found


def _near(config: Config, first_deg: float, second_deg: float) -> bool:
    turn = abs(float(axis_turn_deg(first_deg, second_deg)))
    return turn <= config.calibration.flat_angle_tolerance_deg + 1e-9


def _good_flats(
    config: Config,
    use: LightUse,
    have: Sequence[CalibrationFrame],
    torn_down_utc_mjd: float | None,
) -> list[CalibrationFrame]:
    return [
        one
        for one in have
        if one.kind == "flat"
        and (one.filter, one.train) == (use.filter, use.train)
        and one.position_angle_deg is not None
        and _near(config, one.position_angle_deg, use.position_angle_deg)
        and (torn_down_utc_mjd is None or one.start_utc_mjd > torn_down_utc_mjd)
    ]


def _flats(
    config: Config,
    use: LightUse,
    have: Sequence[CalibrationFrame],
    torn_down_utc_mjd: float | None,
) -> list[OwedFrames]:
    """Flats of a filter, train and angle, and their flat-darks."""
    wish = config.calibration
    own = [
        one
        for one in have
        if one.kind == "flat" and (one.filter, one.train) == (use.filter, use.train)
    ]
    good = _good_flats(config, use, have, torn_down_utc_mjd)
    reason: Reason = "too_few" if good else "none_yet"
    if own and not good:
        turned = not any(
            one.position_angle_deg is not None
            and _near(config, one.position_angle_deg, use.position_angle_deg)
            for one in own
        )
        reason = "camera_turned" if turned else "torn_down"
    middle_s = (wish.flat_shortest_s * wish.flat_longest_s) ** 0.5
    keys: dict[str, Any] = {
        "filter": use.filter,
        "train": use.train,
        "position_angle_deg": use.position_angle_deg,
        "sub_s": middle_s,
        "gain": use.gain,
    }
    owed = _set(config, "flat", wish.flats, len(good), reason, middle_s, **keys)
    if wish.bias_stable:
        return owed
    dark = _flat_darks(use, have, good)
    length_s = good[-1].exposure_s if good else middle_s
    dark_reason: Reason = "too_few" if dark else "none_yet"
    keys["sub_s"] = length_s
    return owed + _set(config, "flat_dark", wish.flat_darks, dark, dark_reason, length_s, **keys)


def _flat_darks(
    use: LightUse, have: Sequence[CalibrationFrame], flats: Sequence[CalibrationFrame]
) -> int:
    """Flat-darks whose length is that of the flats at hand."""
    if not flats:
        return 0
    lengths = sorted(one.exposure_s for one in flats)
    low, high = lengths[0] * (1.0 - FLAT_DARK_LENGTH), lengths[-1] * (1.0 + FLAT_DARK_LENGTH)
    gains = {one.gain for one in flats}
    return sum(
        one.kind == "flat_dark"
        and one.filter in (None, use.filter)
        and one.gain in gains
        and low <= one.exposure_s <= high
        for one in have
    )


def _fresh(
    config: Config,
    have: Sequence[CalibrationFrame],
    evening: datetime.date,
    kind: CalibrationKind,
    gain: str,
    sub_s: float | None,
) -> tuple[int, Reason]:
    """How many darks or bias of these settings are young enough, and why there are not more."""
    wish = config.calibration
    temperature = config.camera.sensor_temperature_c
    own = [
        one
        for one in have
        if one.kind == kind
        and _same_gain(config, one.gain, gain)
        and one.sensor_temperature_c is not None
        and abs(one.sensor_temperature_c - temperature) <= wish.dark_tolerance_c + 1e-9
        and (sub_s is None or abs(one.exposure_s - sub_s) <= SAME_LENGTH * sub_s)
    ]
    young = [one for one in own if (evening - one.evening).days <= wish.dark_days]
    if young:
        return len(young), "too_few"
    return 0, "too_old" if own else "none_yet"


def _same_gain(config: Config, frame: str | None, wanted: str) -> bool:
    """A camera with one gain setting has no need to name it."""
    return frame == wanted or len(config.camera.gain) == 1


def _set(
    config: Config,
    kind: CalibrationKind,
    wanted: int,
    have: int,
    reason: Reason,
    exposure_s: float,
    **keys: Any,
) -> list[OwedFrames]:
    missing = wanted - have
    if missing <= 0:
        return []
    seconds = missing * (exposure_s + max(config.camera.download_s, SMALL_READOUT_S))
    return [OwedFrames(kind, missing, have, seconds / 60.0, reason, **keys)]
