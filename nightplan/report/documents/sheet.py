"""The document of `nightplan sheet`: what was written, and for which night."""

from __future__ import annotations

from typing import Literal

from nightplan.report.documents.base import Document


class SheetDocument(Document):
    """Where the field sheet lies; its content is in the documents of night, plan and frame."""

    site: str
    date: str
    written: str
    style: Literal["day", "red", "print"]
    targets: list[str]
    blocks: int
    size_bytes: int
