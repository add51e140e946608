"""Where the catalogue's data files lie: in a checkout, or inside the installed package."""

from __future__ import annotations

from pathlib import Path

from nightplan.errors import FileError


def catalog_folder() -> Path:
    """Folder of the bundled catalogue files.

    An installed wheel has them in ``nightplan/catalogs``, a checkout in ``catalogs`` beside the
    package. Raises FileError (neither folder is there: the installation is damaged).
    """
    package = Path(__file__).resolve().parent.parent
    for folder in (package / "catalogs", package.parent / "catalogs"):
        if (folder / "openngc.csv").is_file():
            return folder
    raise FileError(package / "catalogs", "the bundled catalogue is missing; install again")
