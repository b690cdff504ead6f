from concurrent.futures import ThreadPoolExecutor

import pytest
from django.db import connections, transaction

from records.services.numbers import continue_series_after, next_number, next_numbers


def test_numbers_count_up_from_one_within_site_and_kind(db):
    given = [
        next_number(*series) for series in [("CA", "B"), ("CA", "B"), ("CA", "C"), ("AL", "B")]
    ]
    assert given == ["CA-B-00001", "CA-B-00002", "CA-C-00001", "AL-B-00001"]


def test_several_numbers_at_once_are_those_that_one_after_the_other_would_be(db):
    assert next_number("CA", "V") == "CA-V-00001"
    assert next_numbers("CA", "V", 3) == ["CA-V-00002", "CA-V-00003", "CA-V-00004"]
    assert next_numbers("CA", "V", 0) == []
    assert next_number("CA", "V") == "CA-V-00005"


def test_a_series_that_outgrows_its_width_goes_on_with_more_digits(db):
    assert [next_number("CA", "B", width=1) for _ in range(10)][-2:] == ["CA-B-9", "CA-B-10"]


@pytest.mark.django_db(transaction=True)
def test_a_number_whose_use_was_undone_was_never_given():
    with transaction.atomic():
        assert next_number("CA", "B") == "CA-B-00001"
    with transaction.atomic():
        assert next_number("CA", "B") == "CA-B-00002"
        transaction.set_rollback(True)
    with transaction.atomic():
        assert next_number("CA", "B") == "CA-B-00002"


@pytest.mark.django_db(transaction=True)
def test_a_number_is_only_given_inside_a_transaction():
    with pytest.raises(transaction.TransactionManagementError, match=r"transaction\.atomic"):
        next_number("CA", "B")


def test_a_series_goes_on_after_numbers_that_came_from_elsewhere(db):
    continue_series_after("CA", "C", 41)
    continue_series_after("CA", "C", 12)

    assert next_number("CA", "C") == "CA-C-00042"


@pytest.mark.parametrize("part", ["", "ca", "C-A", "1A", "ABCDEFGHI", "Ä"])
def test_parts_that_would_blur_a_number_are_refused(db, part):
    with pytest.raises(ValueError, match="capital letters"):
        next_number(part, "B")
    with pytest.raises(ValueError, match="capital letters"):
        next_number("CA", part)


@pytest.mark.django_db(transaction=True)
def test_writers_at_the_same_time_never_get_the_same_number():
    """Also for a series that nobody has begun yet."""

    def take_ten(_):
        try:
            given = []
            for _ in range(10):
                with transaction.atomic():
                    given.append(next_number("CA", "C"))
            return given
        finally:
            connections.close_all()

    with ThreadPoolExecutor(4) as pool:
        given = [number for numbers in pool.map(take_ten, range(4)) for number in numbers]

    assert sorted(given) == [f"CA-C-{n:05d}" for n in range(1, 41)]
