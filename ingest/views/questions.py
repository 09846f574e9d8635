"""Questions that nobody has answered yet."""

from __future__ import annotations

from ingest.answers.processes import Question
from ingest.readings.known import Known


def open_questions(known: Known, asked: tuple[Question, ...]) -> tuple[Question, ...]:
    """Questions about lines on which no person has decided.

    Parameters
    ----------
    known : Known
    asked : tuple of Question
        Of everything that looks odd. One that names no line is told as long as it is so.

    Returns
    -------
    tuple of Question
        Without those whose line was said to be right, rejected, or written anew.
    """
    decided = {(sha, line) for sha, line, _ in known.verdicts_on_rows}
    if not decided or not asked:
        return asked
    pairs = known.readings[["receipt", "sha"]].drop_duplicates()
    sha = dict(zip(pairs["receipt"].tolist(), pairs["sha"].tolist(), strict=True))
    return tuple(q for q in asked if q.line is None or (sha.get(q.receipt), q.line) not in decided)
