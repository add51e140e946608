"""Darks that the journal holds are used again where that costs little."""

from __future__ import annotations

import datetime
from pathlib import Path

import pytest

from nightplan.journal.journal import Journal
from nightplan.journal.records import CalibrationFrame
from nightplan.library.earlier import remembered
from nightplan.model.config import load_config
from nightplan.model.starter import starter_text
from nightplan.planning.photons.filter_budget import filter_budgets


@pytest.mark.parametrize(
    ("few", "warm_c", "used"), [(0, 0.0, True), (1, 0.0, False), (0, 8.0, False)]
)
def test_a_whole_set_of_darks_in_the_journal_sets_the_sub(
    tmp_path: Path, few: int, warm_c: float, used: bool
) -> None:
    path = tmp_path / "nightplan.toml"
    path.write_text(starter_text(), encoding="utf-8")
    config = load_config(path)
    before = {one.filter: one for one in filter_budgets(config, "reducer")}
    setting = before["L"].setting
    # A length that is none of the round ones, and loses next to nothing beside the sub in use.
    shorter_s = setting.sub_s - 5.0
    frames = [
        CalibrationFrame(
            identity=f"dark {number}",
            kind="dark",
            evening=datetime.date(2027, 9, 1),
            start_utc_mjd=61650.0 + number / 100.0,
            exposure_s=shorter_s,
            gain=setting.gain,
            sensor_temperature_c=config.camera.sensor_temperature_c + warm_c,
        )
        for number in range(config.calibration.darks - few)
    ]
    with Journal.of(config, writable=True) as journal:
        journal.record_calibration(frames)
    known = remembered(config).config
    assert ((setting.gain, shorter_s) in known.calibration.dark_library) == used
    after = {one.filter: one for one in filter_budgets(known, "reducer")}
    for name in ("L", "R", "G", "B"):
        expected = shorter_s if used else before[name].sub_s
        assert after[name].sub_s == expected
    # Narrow filters need longer subs, and keep theirs.
    assert after["Ha"].sub_s == before["Ha"].sub_s
