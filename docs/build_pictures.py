"""Draws the pictures of README and docs with the program itself, small enough for a page.

    python docs/build_pictures.py [NAME ...]

All show the invented demo scenario. The sheet is photographed in a headless Chromium; without one
that picture is left as it is.
"""

from __future__ import annotations

import io
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Callable
from pathlib import Path
from typing import Any

from PIL import Image

import nightplan
from nightplan.files import write_whole

PICTURES = Path(__file__).resolve().parent / "pictures"
EVENING = "2027-10-06"
COLOURS = 255
MOST_BYTES = 150_000
BROWSERS = ("chromium", "chromium-browser", "chrome")


def night(path: Path) -> None:
    """Altitudes, moon and filter blocks of the demo night."""
    nightplan.plan(nightplan.demo_config(), EVENING, journal=False).save_plot(path)


def frame(path: Path) -> None:
    """Fields of both trains over real stars."""
    framed = nightplan.frame(nightplan.demo_config(), "NGC 7000", EVENING, journal=False)
    framed.save_chart(path)


def worth(path: Path) -> None:
    """Worth of an hour by filter while the moon sets."""
    nightplan.exposure(nightplan.demo_config(), "NGC 281", "2027-10-09").save_plot(path)


def season(path: Path) -> None:
    """A target's year."""
    nightplan.season(nightplan.demo_config(), "NGC 7000", "2027-06-01", plot=path)


def calendar(path: Path) -> None:
    """What the coming nights serve."""
    coming = nightplan.campaign(
        nightplan.demo_config(), ["M 33", "NGC 281"], EVENING, 28, chance=0.4, journal=False
    )
    coming.save_plot(path)


def sheet(path: Path) -> None:
    """The field sheet at night, on a phone."""
    browser = next((found for name in BROWSERS if (found := shutil.which(name))), None)
    if browser is None:
        print("no browser: the sheet's picture is left as it is")
        return
    with tempfile.TemporaryDirectory() as folder:
        page = Path(folder) / "sheet.html"
        nightplan.plan(nightplan.demo_config(), EVENING, "M 33", journal=False).save_sheet(
            page, style="red"
        )
        # In the middle of the night, where the sheet opens on the block in force.
        _photograph(browser, page, path, "500,1000", "#at=2027-10-07T00:10Z")


def dial(path: Path) -> None:
    """The page to turn the camera on, on a laptop."""
    browser = next((found for name in BROWSERS if (found := shutil.which(name))), None)
    if browser is None:
        print("no browser: the dial's picture is left as it is")
        return
    with tempfile.TemporaryDirectory() as folder:
        page = Path(folder) / "dial.html"
        nightplan.frame(nightplan.demo_config(), "M 31", EVENING, journal=False).save_page(page)
        _photograph(browser, page, path, "1100,760")


def _photograph(browser: str, page: Path, path: Path, size: str, part: str = "") -> None:
    words = [browser, "--headless", "--no-sandbox", "--disable-gpu", "--hide-scrollbars"]
    words += [f"--window-size={size}", f"--user-data-dir={page.parent}/profile"]
    words += ["--virtual-time-budget=3000", f"--screenshot={path}"]
    words.append(page.as_uri() + part)
    subprocess.run(words, check=True, capture_output=True, timeout=120)


DRAWN: dict[str, Callable[[Path], Any]] = {
    "night": night,
    "frame": frame,
    "worth": worth,
    "season": season,
    "calendar": calendar,
    "sheet": sheet,
    "dial": dial,
}


def shrink(source: Path, widest_px: int = 1100) -> bytes:
    """A PNG no wider than `widest_px` with a palette of its own colours."""
    picture = Image.open(source).convert("RGB")
    if picture.width > widest_px:
        height = round(picture.height * widest_px / picture.width)
        picture = picture.resize((widest_px, height), Image.Resampling.LANCZOS)
    small = picture.quantize(COLOURS, kmeans=3, dither=Image.Dither.NONE)
    out = io.BytesIO()
    small.save(out, "PNG", optimize=True)
    return out.getvalue()


def main() -> None:
    wanted = sys.argv[1:] or list(DRAWN)
    for name in wanted:
        with tempfile.TemporaryDirectory() as folder:
            draft = Path(folder) / f"{name}.png"
            DRAWN[name](draft)
            if not draft.exists():
                continue
            data = shrink(draft)
            assert len(data) < MOST_BYTES, f"{name}: {len(data)} bytes"
            write_whole(PICTURES / f"{name}.png", data)
            print(f"{name}.png: {len(data) // 1000} kB")


if __name__ == "__main__":
    main()
