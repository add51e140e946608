"""The document of `nightplan check`: a configuration read back, and what looks odd in it."""

from __future__ import annotations

from typing import TYPE_CHECKING

from nightplan.report.documents.base import Document

if TYPE_CHECKING:
    from nightplan.model.config import Config
    from nightplan.planning.optics.rig_oddities import Oddity


class CheckedTrain(Document):
    """One train with the camera behind it."""

    train: str
    focal_length_mm: float
    f_ratio: float
    image_scale_arcsec_px: float
    field_width_deg: float
    field_height_deg: float
    pixels_per_fwhm: float
    sampling: str
    corner_illumination: float


class OddityRow(Document):
    """One thing that looks odd, in a sentence, at its key."""

    key: str
    code: str
    words: str


class CheckDocument(Document):
    """A valid configuration, and what a practitioner would look at twice."""

    config: str
    site: str
    trains: list[CheckedTrain]
    odd: list[OddityRow]


def check_document(config: Config, oddities: list[tuple[Oddity, str]]) -> CheckDocument:
    """Put a configuration's reading into its document, with a sentence for each oddity."""
    from nightplan.planning.optics.train_optics import all_train_optics

    return CheckDocument(
        config=str(config.path),
        site=config.site.name,
        trains=[
            CheckedTrain(
                train=optics.name,
                focal_length_mm=round(optics.focal_length_mm, 2),
                f_ratio=round(optics.f_ratio, 3),
                image_scale_arcsec_px=round(optics.image_scale_arcsec_px, 4),
                field_width_deg=round(optics.field_width_deg, 5),
                field_height_deg=round(optics.field_height_deg, 5),
                pixels_per_fwhm=round(optics.pixels_per_fwhm, 3),
                sampling=optics.sampling,
                corner_illumination=round(optics.corner_illumination, 4),
            )
            for optics in all_train_optics(config)
        ],
        odd=[
            OddityRow(key=oddity.key, code=oddity.code, words=words) for oddity, words in oddities
        ],
    )
