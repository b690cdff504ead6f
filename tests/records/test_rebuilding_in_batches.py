"""Rows are rebuilt in batches: more rows take no more queries."""

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from records.queries.verification import verify_records
from tests import factories

pytestmark = pytest.mark.each_database


def test_a_batch_is_rebuilt_with_few_queries_however_many_its_rows(db):
    board = factories.make_board()
    counts = []
    for number in (3, 40):
        for _photo in range(number):
            factories.make_photo(board)
        factories.write_down()
        with CaptureQueriesContext(connection) as queries:
            assert verify_records(with_files=False).fits
        counts.append(len(queries))

    assert counts[0] == counts[1] < 90
