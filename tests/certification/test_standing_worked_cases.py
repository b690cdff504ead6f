"""Every row of the worked registers gets the answer that stands beside it."""

from functools import cache

import pytest

from certification.domain.standing import UNKNOWN_PERSON, History
from tests.certification.standing_bundles import FOLDER, Register, end_of, findings, question_of

FILES = sorted(FOLDER.glob("*/findings*.csv"))


def test_every_question_of_every_register_is_asked():
    assert [(path.parent.name, path.stem.removeprefix("findings")) for path in FILES] == [
        ("edges", ""),
        ("edges", "_as_known_2024-02-10T10-00-00"),
        ("edges", "_as_known_2024-03-01"),
        ("edges", "_as_known_then"),
        *(
            (folder, question)
            for folder in ("random_a", "random_b")
            for question in (
                "",
                "_as_known_2023-06-01T00-00-00",
                "_as_known_then",
                "_counts_as_practice",
            )
        ),
        ("restricted", ""),
        ("restricted", "_as_known_2023-06-01T00-00-00"),
        ("restricted", "_as_known_then"),
        ("worked", ""),
        ("worked", "_as_known_2023-08-10T00-00-00"),
    ]


def answers(register, question):
    """Ask the engine about every row of the register's work log."""

    @cache
    def history(person, scope):
        more = register.log_as_practice(person, scope) if question == "counts_as_practice" else ()
        return History(register.facts(person, scope, more))

    for row in register.work_log:
        if row.employee_number not in register.people:
            answer = UNKNOWN_PERSON
        else:
            known_at = None
            if question == "as_known_then":
                known_at = end_of(row.day)
            elif question not in ("plain", "counts_as_practice"):
                known_at = question
            answer = history(row.employee_number, row.scope).as_known_at(known_at).on(row.day)
        yield row._replace(
            standing=answer.standing.value, certificate_number=answer.certificate_number
        )


@pytest.mark.parametrize("path", FILES, ids=lambda path: f"{path.parent.name}/{path.stem}")
def test_findings_agree_row_for_row(path):
    expected = findings(path)
    assert expected
    assert list(answers(Register(path.parent), question_of(path))) == expected
