"""The document of `nightplan check`: a configuration read back, and what looks odd in it."""

from __future__ import annotations

from typing import TYPE_CHECKING

from nightplan.report.documents.base import Document, To2, To3, To4, To5

if TYPE_CHECKING:
    from nightplan.model.config import Config
    from nightplan.planning.optics.rig_oddities import Oddity


class CheckedTrain(Document):
    """One train with the camera behind it."""

    train: str
    focal_length_mm: To2
    f_ratio: To3
    image_scale_arcsec_px: To4
    field_width_deg: To5
    field_height_deg: To5
    pixels_per_fwhm: To3
    sampling: str
    corner_illumination: To4


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
        trains=[CheckedTrain.of(one, train=one.name) for one in all_train_optics(config)],
        odd=[
            OddityRow(key=oddity.key, code=oddity.code, words=words) for oddity, words in oddities
        ],
    )
