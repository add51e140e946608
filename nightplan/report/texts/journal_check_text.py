"""Whether the journal and its backups are sound, as text for a terminal."""

from __future__ import annotations

from nightplan.report.documents.collect import JournalCheckDocument, JournalFilePart
from nightplan.report.wording.text_table import paragraph
from nightplan.report.wording.words import counted


def journal_check_text(document: JournalCheckDocument) -> str:
    """The journal's state, each backup's, and what can be done."""
    journal = document.journal
    lines = [_line(journal)]
    if document.restored_from is not None:
        lines.append(f"restored from {document.restored_from}")
    if document.kept is not None:
        lines.append(f"the journal of before is kept as {document.kept}")
    lines += ["", "Backups, newest first:" if document.backups else "No backup yet."]
    lines += [f"  {one.taken_utc}  {_line(one)}" for one in document.backups]
    if journal.state == "faulty" or (journal.state == "missing" and document.newest_good):
        lines.append("")
        if document.newest_good is None:
            words = "No backup is good. Put a copy of your own in the journal's place."
        else:
            words = (
                f"`nightplan collect --check --restore` puts {document.newest_good} in its place "
                "and keeps what is there under another name."
            )
        if "checksum" in journal.fault:
            words += (
                " If you changed the journal by hand on purpose, `nightplan collect --check "
                "--reseal` takes it as it is."
            )
        lines.append(paragraph(words))
    return "\n".join(lines)


def _line(one: JournalFilePart) -> str:
    if one.state == "missing":
        return f"{one.file}: no such file"
    if one.state == "faulty":
        return f"{one.file}: faulty: {one.fault}"
    return f"{one.file}: sound, {counted(one.rows, 'row')}, {counted(one.subs, 'sub')}"
