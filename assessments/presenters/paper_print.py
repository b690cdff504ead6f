"""A written test on paper: its questions, and the sheet on which the answers stand.

What is right is in neither: it is asked of the answers once somebody has entered them.
"""

import logging
from datetime import UTC, datetime
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

from django.utils.translation import gettext as _

from assessments.domain.answers import COLUMNS, ROWS, Kind
from assessments.exceptions import DecodersBusy, NotAPhotograph
from assessments.models import Paper, PaperQuestion, Rendition
from assessments.queries import written_tests as queries
from people.models import Installation
from people.presenters import paper as paper_set
from people.presenters.days import format_day, format_instant

from .question_pictures import picture_file
from .written_paper import LETTERS, how_answered, rules_in_words

log = logging.getLogger(__name__)
SOURCE = Path(__file__).parent / "print" / "written_test.typ"


def paper_pdf(paper: Paper, *, at: datetime) -> bytes:
    """Set a paper with its answer sheet as a PDF on A4.

    A photograph whose file can no longer be read is left out, and the paper says so.
    """
    rows = queries.questions_of(paper)
    with TemporaryDirectory(prefix="written-test-") as folder:
        data = {
            "title": paper.test.title,
            "organisation": Installation.current().organisation,
            "printed_utc": list(at.astimezone(UTC).timetuple()[:6]),
            "printed": _("Printed %(instant)s")
            % {"instant": format_instant(at, paper.site.time_zone)},
            "number": paper.number,
            "form": paper.form,
            "name": paper_set.name_or_notice(paper.person.full_name),
            "person": paper.person.employee_number,
            "rules": [[rule.name, rule.value] for rule in rules_in_words(paper.test, len(rows))]
            + [[_("Not before"), format_day(paper.not_before)]],
            "columns": list(COLUMNS),
            "rows": list(ROWS),
            "questions": [_question(each, Path(folder)) for each in rows],
            "words": _words(),
        }
        return paper_set.typeset(SOURCE, data, zone=paper.site.time_zone, folder=Path(folder))


def _words() -> dict[str, str]:
    return {
        "form": _("Form"),
        "question": _("Question"),
        "sheet": _("Answer sheet"),
        "how": _(
            "Answer here alone. Cross out the letter you choose; to take it back, ring it and "
            "cross out another. What stands on the other pages is not marked."
        ),
        "must": _("Must be right to pass."),
        "square": _("Square"),
        "name": _("Name"),
        "day": _("Day"),
        "signature": _("Signature"),
        "no_file": _("The picture’s file can no longer be read."),
        "close": _(
            "Follow the governing standard, your local rules and your licensed safety practice; "
            "this test records training and does not replace them."
        ),
        "page": _("Page {n} of {all}"),
    }


def _question(each: PaperQuestion, folder: Path) -> dict[str, Any]:
    question = each.question
    name = None
    try:
        file = picture_file(question, Rendition.Size.MEDIUM)
        if file is not None:
            name = f"{each.order}.{file[0]}"
            (folder / name).write_bytes(file[1])
    except (NotAPhotograph, DecodersBusy, OSError) as error:
        log.error("The picture of %s cannot be printed: %s", each, error)
    return {
        "order": each.order,
        "kind": str(question.kind),
        "text": question.text,
        "how": how_answered(question.kind, question.unit),
        "choices": [
            [LETTERS[place], question.choices[choice]] for place, choice in enumerate(each.shown)
        ],
        "unit": question.unit,
        "picture": name,
        "lost": question.has_picture and name is None,
        "alt": question.picture_says,
        "grid": question.kind == Kind.PLACE,
        "must": question.must_be_right,
    }
