"""Templates, style sheets and scripts of the HTML pages, and how a page carries its data."""

from __future__ import annotations

import base64
import hashlib
import json
from importlib.resources import files
from typing import Any


def page_file(name: str) -> str:
    """Text of a file in ``nightplan/report/page``."""
    return files("nightplan.report.page").joinpath(name).read_text(encoding="utf-8")


def script_hash(script: str) -> str:
    """The source expression that lets a page run this script and no other (W3C CSP Level 3)."""
    digest = hashlib.sha256(script.encode("utf-8")).digest()
    return "sha256-" + base64.b64encode(digest).decode("ascii")


def json_for_html(value: Any) -> str:
    """JSON that cannot close its ``<script>`` element."""
    text = json.dumps(value, ensure_ascii=False, separators=(",", ":"))
    return text.replace("<", "\\u003c").replace(">", "\\u003e").replace("&", "\\u0026")
