"""The colour of hatches, which a style sets for all and some patches need for themselves."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager


@contextmanager
def hatch_colour(colour: str) -> Iterator[None]:
    """Patches made within the block are hatched in `colour` (a patch takes it when it is made)."""
    import matplotlib

    with matplotlib.rc_context({"hatch.color": colour}):
        yield
