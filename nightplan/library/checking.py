"""A configuration read back, with what looks odd in it."""

from __future__ import annotations

from typing import TYPE_CHECKING

from nightplan.library.outputs import Answer

if TYPE_CHECKING:
    from nightplan.model.config import Config
    from nightplan.report.documents.check import CheckDocument


class ConfigCheck(Answer):
    """What a configuration says, and what looks odd in it; printed as `nightplan check` has it."""

    def __init__(self, document: CheckDocument, config: Config) -> None:
        self._document = document
        self._config = config

    @property
    def document(self) -> CheckDocument:
        """The JSON document of `nightplan check`."""
        return self._document

    def __str__(self) -> str:
        from nightplan.report.texts.check_text import check_text

        return check_text(self._document, self._config)


def check(config: Config) -> ConfigCheck:
    """Read a configuration back and say what looks odd in it; as `nightplan check`.

    Parameters
    ----------
    config : Config
    """
    import datetime

    from nightplan.planning.optics.rig_oddities import rig_oddities
    from nightplan.report.documents.check import check_document
    from nightplan.report.wording.oddity_words import oddity_words

    odd = rig_oddities(config, datetime.datetime.now(datetime.UTC))
    document = check_document(config, [(oddity, oddity_words(oddity)) for oddity in odd])
    return ConfigCheck(document, config)
