"""A headless Chromium, driven by its command line; tests skip where there is none."""

from __future__ import annotations

import datetime as dt
import importlib.util
import json
import re
import shutil
import subprocess
from html import unescape
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from PIL import Image

REPORT = Path(__file__).parent.parent / "report"
FLAGS = (
    "--headless",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--disable-lcd-text",
    "--hide-scrollbars",
    "--allow-file-access-from-files",
)
NAMES = ("chromium", "chromium-browser", "chrome")
LONG_FILTER = "S II 3 nm, the old one from the second wheel"
STATES = ("day", "red", "print")


class Browser:
    """Runs Chromium once a question."""

    def __init__(self, program: str, folder: Path) -> None:
        self.program = program
        self.folder = folder
        self.runs = 0

    def run(self, url: str, *options: str) -> str:
        self.runs += 1
        profile = self.folder / f"profile{self.runs}"
        command = [self.program, *FLAGS, f"--user-data-dir={profile}", *options, url]
        done = subprocess.run(command, capture_output=True, timeout=120, check=False)
        shutil.rmtree(profile, ignore_errors=True)
        assert done.returncode == 0, done.stderr.decode(errors="replace")[-800:]
        return done.stdout.decode("utf-8")

    def dom(self, url: str, *options: str) -> str:
        """The document after its scripts have run."""
        return self.run(url, "--virtual-time-budget=3000", *options, "--dump-dom")

    def pixels(self, url: str, width: int, height: int, *options: str) -> Any:
        """A screenshot as an array (height, width, 3)."""
        file = self.folder / f"shot{self.runs}.png"
        self.run(url, f"--window-size={width},{height}", f"--screenshot={file}", *options)
        return np.asarray(Image.open(file).convert("RGB"))

    def pdf(self, url: str) -> Path:
        """The page as printed."""
        file = self.folder / f"print{self.runs}.pdf"
        self.run(url, "--no-pdf-header-footer", f"--print-to-pdf={file}")
        return file

    def measure(self, pages: dict[str, tuple[str, int]], script: str) -> dict[str, Any]:
        """What `script` (a function of a frame's document, window and element, or its promise)
        gives for each page at its width.

        A window cannot be narrower than 500 pixels, so each page sits in a frame of its own.
        """
        frames = "".join(
            f'<iframe id="{key}" src="{url}" style="width:{width}px;height:900px"></iframe>'
            for key, (url, width) in pages.items()
        )
        outer = self.folder / f"measure{self.runs}.html"
        outer.write_text(
            f"<!doctype html><meta charset=utf-8>{frames}<pre id=out></pre><script>"
            f"const probe = {script};"
            "addEventListener('load', async () => { const found = {};"
            "for (const frame of document.querySelectorAll('iframe')) {"
            "found[frame.id] = await probe(frame.contentDocument, frame.contentWindow, frame); }"
            "document.getElementById('out').textContent = JSON.stringify(found); });</script>",
            encoding="utf-8",
        )
        dom = self.dom(outer.as_uri(), "--window-size=1400,1000")
        found = re.search(r'<pre id="out">(.*?)</pre>', dom, re.DOTALL)
        assert found, "the measuring page did not answer"
        assert found[1], "the measuring script failed"
        return json.loads(unescape(found[1]))


@pytest.fixture(scope="session")
def browser(tmp_path_factory: pytest.TempPathFactory) -> Browser:
    program = next((found for name in NAMES if (found := shutil.which(name))), None)
    if program is None:
        pytest.skip("no Chromium on this machine (looked for " + ", ".join(NAMES) + ")")
    return Browser(program, tmp_path_factory.mktemp("browser"))


@pytest.fixture(scope="session")
def report_data() -> Any:
    """The readers of the report tests' documents."""
    spec = importlib.util.spec_from_file_location("report_data", REPORT / "conftest.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


@pytest.fixture(scope="session")
def sheets(tmp_path_factory: pytest.TempPathFactory, report_data: Any) -> dict[str, Path]:
    """The invented night's sheet in each style, with real plots on it, as files."""
    from nightplan.report.sheet.render_sheet import SheetSite, render_sheet
    from nightplan.report.sheet.sheet_charts import night_charts

    folder = tmp_path_factory.mktemp("sheets")
    site = SheetSite("Europe/Lisbon", report_data.ROLES, sensor_temperature_c=-10.0)
    plan = report_data.read_document("plan")
    paths = {}
    for style in STATES:
        wide, narrow = night_charts(report_data.read_picture(), style)
        html = render_sheet(
            report_data.read_document("night"),
            plan,
            report_data.read_document("frames"),
            site=site,
            losses=losses_of(plan),
            replan="nightplan plan --config nightplan.toml --from now --keep plan.json",
            calibration_owed=report_data.read_document("calibration"),
            charts={"M 31": narrow},
            night_chart=wide,
            night_chart_narrow=narrow,
            style=style,
        )
        paths[style] = folder / f"sheet-{style}.html"
        paths[style].write_text(html, encoding="utf-8")
    return paths


@pytest.fixture(scope="session")
def hard_sheet(tmp_path_factory: pytest.TempPathFactory, report_data: Any) -> Path:
    """The night with a mosaic, long names of filters, a turn of the camera and flats before it."""
    from nightplan.report.sheet.render_sheet import SheetSite, render_sheet

    text = json.dumps(report_data.read_document("plan"))
    plan = json.loads(text.replace('"SII"', json.dumps(LONG_FILTER)))
    for number, row in enumerate(plan["blocks"]):
        if row["target"] == "M 31":
            row["panel"] = number % 2 + 1
    last = next(row for row in plan["events"] if row["target"] == "M 31")
    at = dt.datetime.fromisoformat(last["start_utc"])

    def utc(minutes: float) -> str:
        return (at + dt.timedelta(minutes=minutes)).strftime("%Y-%m-%dT%H:%M:%SZ")

    plan["events"] += [
        {"kind": "flats", "target": "NGC 7000", "start_utc": utc(-9), "end_utc": utc(-3)},
        {"kind": "turn", "target": "M 31", "start_utc": utc(-3), "end_utc": utc(0),
         "from_image_up_deg": 270.0, "to_image_up_deg": 307.0},
    ]  # fmt: skip
    roles = {**report_data.ROLES, LONG_FILTER: "S II"}
    html = render_sheet(
        report_data.read_document("night"),
        plan,
        {},
        site=SheetSite("Europe/Lisbon", roles),
        calibration_owed=report_data.read_document("calibration"),
        losses=losses_of(plan),
    )
    path = tmp_path_factory.mktemp("hard") / "hard.html"
    path.write_text(html, encoding="utf-8")
    return path


@pytest.fixture(scope="session")
def clock_change_sheet(tmp_path_factory: pytest.TempPathFactory, report_data: Any) -> Path:
    """The same night moved to the end of summer time, where each time carries its offset."""
    from nightplan.report.sheet.render_sheet import SheetSite, render_sheet

    def moved(name: str) -> Any:
        text = json.dumps(report_data.read_document(name))
        for day, later in (("2027-10-06", "2027-10-30"), ("2027-10-07", "2027-10-31")):
            text = text.replace(day, later)
        return json.loads(text)

    wide, narrow = night_charts_of(report_data)
    html = render_sheet(
        moved("night"),
        moved("plan"),
        moved("frames"),
        site=SheetSite("Europe/Lisbon", report_data.ROLES),
        night_chart=wide,
        night_chart_narrow=narrow,
    )
    path = tmp_path_factory.mktemp("change") / "change.html"
    path.write_text(html, encoding="utf-8")
    return path


def losses_of(plan: dict[str, Any]) -> list[dict[str, Any]]:
    """Invented answers: the blocks lost are left out, and the rest goes on as planned."""
    found = []
    for block in plan["blocks"]:
        start = dt.datetime.fromisoformat(block["start_utc"])
        for minutes in (30, 60):
            begin = (start + dt.timedelta(minutes=minutes)).strftime("%Y-%m-%dT%H:%M:%SZ")
            later = {
                key: [row for row in plan[key] if row["start_utc"] >= begin]
                for key in ("blocks", "events")
            }
            found.append(
                {"start_utc": block["start_utc"], "minutes": minutes,
                 "lost": f"{block['target']} {block['filter']}",
                 "plan": {**plan, **later, "from_utc": begin}}
            )  # fmt: skip
    return found


def night_charts_of(report_data: Any) -> tuple[str, str]:
    from nightplan.report.sheet.sheet_charts import night_charts

    return night_charts(report_data.read_picture("picture_clock_change", planned=False))
