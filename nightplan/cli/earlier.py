"""What the journal beside the configuration knows, for the commands that plan."""

from __future__ import annotations

from nightplan.library.earlier import earlier_nights

__all__ = ["earlier_nights"]
