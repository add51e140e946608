"""Which rig a journal's rows belong to: by its name, and by what its trains see.

Two configurations in one folder, or a file whose telescope was exchanged, may name their trains
alike. Hours through one do not add to hours through the other, so a rig is the same only while
every train that it has in common with the stored one has the same focal length and pixels.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from nightplan.model.config import Config

FOCAL_TOLERANCE = 0.03
"""A focal length measured anew differs by less; another telescope or reducer by more."""
PIXEL_TOLERANCE = 0.02

Stored = Mapping[str, Any]


@dataclass(frozen=True)
class RigMark:
    """A rig's name (empty for the only one of a file), its trains' focal lengths in mm by name,
    and its sensor."""

    name: str
    focal_length_mm: Mapping[str, float]
    pixel_um: float
    width_px: int
    height_px: int

    def rows(self, key: str) -> list[dict[str, Any]]:
        """What the journal keeps of the rig: a row a train."""
        sensor = {"pixel_um": self.pixel_um, "width_px": self.width_px, "height_px": self.height_px}
        return [
            {"rig": key, "train": train, "focal_length_mm": focal_mm, **sensor}
            for train, focal_mm in self.focal_length_mm.items()
        ]


NO_RIG = RigMark("", {}, 0.0, 0, 0)
"""Of callers without a configuration: the rows of the rig without a name."""


def rig_mark(config: Config) -> RigMark:
    """The mark of a configuration's rig."""
    native_mm = config.optics.focal_length_mm
    return RigMark(
        name=config.named_rig,
        focal_length_mm={name: native_mm * one.factor for name, one in config.train.items()},
        pixel_um=config.camera.pixel_um,
        width_px=config.camera.width_px,
        height_px=config.camera.height_px,
    )


def rig_key(stored: Sequence[Stored], mark: RigMark) -> str:
    """What a rig's rows are stored under: its name, or NAME#2 and so on where the stored rig of
    that name is another one. Rows of before rigs were kept belong to the rig without a name."""
    if mark is NO_RIG:
        return ""
    number = 1
    while True:
        key = mark.name if number == 1 else f"{mark.name}#{number}"
        if all(_fits(row, mark) for row in stored if row["rig"] == key):
            return key
        number += 1


def same_sensor(stored: Sequence[Stored], key: str, mark: RigMark) -> set[str]:
    """Rigs with the sensor of a rig, itself included: they share darks and bias."""
    return {key, *(row["rig"] for row in stored if _same_sensor(row, mark))}


def _fits(row: Stored, mark: RigMark) -> bool:
    # A train that was sold or renamed says nothing; the sensor does.
    focal_mm = mark.focal_length_mm.get(row["train"], row["focal_length_mm"])
    near = abs(focal_mm / row["focal_length_mm"] - 1.0) <= FOCAL_TOLERANCE
    return bool(near and _same_sensor(row, mark))


def _same_sensor(row: Stored, mark: RigMark) -> bool:
    return bool(
        abs(mark.pixel_um / row["pixel_um"] - 1.0) <= PIXEL_TOLERANCE
        and (row["width_px"], row["height_px"]) == (mark.width_px, mark.height_px)
    )
