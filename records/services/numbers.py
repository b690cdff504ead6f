"""Public numbers: what is printed on boards and certificates, never given twice."""

import re

from django.db import transaction

from records.models import NumberSeries

PART = re.compile(r"[A-Z][A-Z0-9]{0,7}")


def next_number(prefix: str, kind: str, width: int = 5) -> str:
    """Give the next number of a series, such as ``CA-B-00012``.

    The number belongs to the transaction that asked for it: if that is rolled back the
    number was never given, so a series has no holes. Two transactions asking for the same
    series wait for each other, so ask late.

    Parameters
    ----------
    prefix : str
        The site's letters, capitals.
    kind : str
        What is numbered: ``B`` for boards, ``C`` for certificates.
    width : int, optional
        Digits to pad to; a series that outgrows them goes on with more.

    Raises
    ------
    TransactionManagementError
        If no transaction is open.
    ValueError
        If a part is not one to eight capital letters and digits, a letter first.
    """
    for part in (prefix, kind):
        if not PART.fullmatch(part):
            raise ValueError(
                f"{part!r} cannot stand in a number: use one to eight capital letters and digits, "
                "a letter first."
            )
    if not transaction.get_connection().in_atomic_block:
        raise transaction.TransactionManagementError(
            "A number is given in the transaction that uses it: open transaction.atomic() first."
        )
    matching = NumberSeries.objects.select_for_update().filter(prefix=prefix, kind=kind)
    series = matching.first()
    if series is None:
        # Whoever loses the race to begin the series waits here, then finds it below.
        NumberSeries.objects.bulk_create(
            [NumberSeries(prefix=prefix, kind=kind)], ignore_conflicts=True
        )
        series = matching.get()
    series.last += 1
    series.save(update_fields=["last"])
    return f"{prefix}-{kind}-{series.last:0{width}d}"


def continue_series_after(prefix: str, kind: str, last: int) -> None:
    """Have a series go on after a number that came from elsewhere, unless it is past it.

    So that a number in this form which an earlier register gave is not given again.
    """
    series, _begun = NumberSeries.objects.get_or_create(prefix=prefix, kind=kind)
    NumberSeries.objects.filter(pk=series.pk, last__lt=last).update(last=last)


def next_numbers(prefix: str, kind: str, count: int, width: int = 5) -> list[str]:
    """Give the next numbers of a series at once, as `next_number` gives one after another."""
    if count < 1:
        return []
    first = next_number(prefix, kind, width)
    last = int(first.rpartition("-")[2])
    if count > 1:
        NumberSeries.objects.filter(prefix=prefix, kind=kind).update(last=last + count - 1)
    return [f"{prefix}-{kind}-{number:0{width}d}" for number in range(last, last + count)]
