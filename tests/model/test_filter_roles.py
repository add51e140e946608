"""One registry of filter roles: whatever needs a role's facts has them, for a new one too."""

from __future__ import annotations

import re
import subprocess
import sys
from pathlib import Path

import pytest

import nightplan
from nightplan.light.line_brightness import LINE_NAMES, LINE_NM
from nightplan.model.filter_roles import ROLES
from nightplan.model.preferences import MoonDistance
from nightplan.report.looks.palettes import STYLES, filter_look
from nightplan.report.page.page_style import SHEET_STYLES, sheet_looks

PACKAGE = Path(nightplan.__file__).parent


@pytest.mark.parametrize("name", ROLES)
def test_an_entry_is_whole(name: str) -> None:
    role = ROLES[name]
    assert role.moon in MoonDistance.model_fields
    assert role.label
    assert role.spellings
    assert len(role.colours) == len(STYLES)
    # Only a narrow role has lines, and its wavelength is that of the first.
    assert bool(role.lights) == role.is_narrow
    for line in role.lights:
        assert line in LINE_NAMES
    if role.line_nm is not None:
        assert role.line_nm == pytest.approx(
            float(LINE_NM[LINE_NAMES.index(role.lights[0])]), abs=0.1
        )
        assert 0.0 <= role.usual_nm[0] - role.line_nm < 0.5
    css = (PACKAGE / "report" / "page" / "sheet.css").read_text(encoding="utf-8")
    for style in SHEET_STYLES:
        _, _, pattern = sheet_looks([name], style)[name].css_class.partition(" ")
        assert not pattern or f".{pattern}{{" in css


def test_no_name_of_a_filter_means_two_roles() -> None:
    words = [word for role in ROLES.values() for word in role.spellings]
    assert len(set(words)) == len(words)
    labels = [role.label.upper() for role in ROLES.values()]
    assert len(set(labels)) == len(labels)


def test_no_other_module_lists_the_roles() -> None:
    # Recipes weigh roles, as they must; another table with an entry for each line is a second list.
    table = re.compile(r"\"H-alpha\":[^\n]*(\n[^\n]*){0,3}\"S II\":", re.MULTILINE)
    listed = [
        path.relative_to(PACKAGE).as_posix()
        for path in PACKAGE.rglob("*.py")
        if table.search(path.read_text(encoding="utf-8"))
    ]
    assert listed == ["planning/photons/recipes.py"]


NEW_ROLE = """
import datetime
from nightplan.model import filter_roles
filter_roles.ROLES["H-beta"] = filter_roles.FilterRole(
    "Hb", "hydrogen", "o_iii_deg", ("hb", "hbeta"), (486.4, 5.0), (0, (3, 3)), "++", "*",
    ("#AA4499", "#CC77BB", "#0C0000", "#E3E3E3"), 486.13, ("H-beta",),
)
# As the module itself ends; everything else is imported behind it, and knows the role.
from typing import Literal
filter_roles.Role = Literal[tuple(filter_roles.ROLES)]
"""
"""486.13 nm: NIST ASD, air."""

USES = '''
from nightplan.journal.target_match import match_filter, role_of
from nightplan.model.config import parse_config
from nightplan.model.first_file import read_filters
from nightplan.model.own_targets import catalog_for
from nightplan.model.starter import starter_text
from nightplan.planning.photons.goals import target_goals
from nightplan.planning.photons.recipes import recipe_of
from nightplan.planning.photons.target_brightness import target_brightness
from nightplan.planning.tonight.limits import dark_class, moon_distance_limit_deg, planned_night
from nightplan.planning.tonights_plan.plan import make_plan
from nightplan.library.nights import night  # noqa: F401
from nightplan.report.documents.plan import plan_document
from nightplan.report.looks.palettes import STYLES, filter_look
from nightplan.report.page.page_style import sheet_looks

own = """
[filter.Hb]
role = "H-beta"
centre_nm = 486.4
width_nm = 5.0
peak_transmission = 0.9
clear_aperture_mm = 46

[recipe.emission_nebula]
shares = {Ha = 1.0, Hb = 2.0}
"""
text = starter_text().replace("positions = 7", "positions = 8")
text = text.replace('dark_narrowband = "astronomical"', 'dark_narrowband = "nautical"') + own
config = parse_config(text)
assert config.filter["Hb"].is_narrow and config.filter["Hb"].line_nm == 486.13
assert role_of("H-beta 5 nm") == "H-beta" and match_filter("hb", config.filter) == "Hb"
assert read_filters("L Hb 4")[1].width_nm == 4.0 and read_filters("Hb")[0].role == "H-beta"
assert moon_distance_limit_deg(config, "H-beta") == config.preferences.moon_distance.o_iii_deg
assert dark_class(config, "H-beta") == "nautical" == dark_class(config, "O III")
for style in STYLES:
    assert filter_look("H-beta", style).label == "Hb"
assert sheet_looks(["H-beta"], "red")["H-beta"].css_class == "f0 h-grid"
catalog = catalog_for(config)
nebula = catalog.target(catalog.find("NGC 1499"))
recipe = recipe_of(config, nebula)
assert {part.filter: part.purpose for part in recipe.parts}["Hb"] == "hydrogen"
assert recipe.name.startswith("H-beta")
goals = {one.filter: one.goal_h for one in target_goals(config, [nebula], "reducer")[0].wanted}
assert goals["Hb"] > goals["Ha"] > 0.0
assert "H-alpha" in target_brightness(nebula).line_rayleigh
evening = planned_night(config, datetime.date(2027, 12, 2))
document = plan_document(make_plan(config, evening, catalog, ["NGC 1499"], solve_s=1.0))
assert any(block.filter == "Hb" for block in document.blocks)
print("whole")
'''


def test_a_new_role_is_one_entry_and_works_from_the_file_to_the_plan(tmp_path: Path) -> None:
    """H-beta, tried in a process of its own: its light, limits, names, looks, recipe and plan."""
    done = subprocess.run(
        [sys.executable, "-c", NEW_ROLE + USES],
        capture_output=True,
        text=True,
        check=False,
        cwd=tmp_path,
        env={"PYTHONPATH": str(PACKAGE.parent), "HOME": str(tmp_path), "PATH": "/usr/bin:/bin"},
    )
    assert done.returncode == 0, done.stderr[-2000:]
    assert done.stdout.strip() == "whole"
    assert "H-beta" not in ROLES
    assert filter_look("H-alpha").label == "Ha"
