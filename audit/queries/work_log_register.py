"""The register in the database as something that a work log can be held against."""

from collections.abc import Iterator, Sequence
from dataclasses import replace
from datetime import date
from itertools import islice

import numpy as np
import polars as pl
from django.db.models import CharField, Q
from django.db.models.functions import Cast

from audit.domain.standing_spans import DAY_BITS, STANDINGS, LoggedDays, Spans, SpansBuilder
from audit.domain.work_log_check import EPOCH, PERSON, CheckOptions, Progress, away_frame
from certification.domain import standing as engine
from certification.models import Certificate, Operation, Scope, StandingSpan
from certification.queries import standing_on_day
from certification.services import standing
from people.models import FormerEmployeeNumber, Person, Site, Stamp
from people.queries.memberships import away_from, ever_at

ROWS_A_BATCH = 50_000
FEW_PEOPLE = 400


class StoredRegister:
    """The people of some sites, or of all; a number that somebody had before is theirs still.

    Whoever has moved away is known for the days on which they were there.

    A plain question is answered from the spans, any other from the facts themselves.

    Parameters
    ----------
    sites : sequence of Site or None
        Whose people there are; nobody else is known. None is everybody.
    """

    def __init__(self, sites: Sequence[Site] | None = None) -> None:
        people = Person.objects.order_by("pk")
        former = FormerEmployeeNumber.objects.all()
        stamps = Stamp.objects.all()
        if sites is not None:
            site_ids = {site.pk for site in sites}
            here = Q(site__in=site_ids) | Q(pk__in=ever_at(site_ids))
            people = people.filter(here)
            ours = Person.objects.filter(here).order_by().values("pk")
            former = former.filter(person__in=ours)
            stamps = stamps.filter(person__in=ours)
        people_found = list(people.values_list("pk", "employee_number"))
        self.numbers = [number for _pk, number in people_found]
        self._pks = np.array([pk for pk, _number in people_found], dtype=np.int64)
        place_of = {pk: index for index, (pk, _number) in enumerate(people_found)}
        self.people = {
            number: place_of[pk] for number, pk in former.values_list("employee_number", "person")
        } | {number: index for index, number in enumerate(self.numbers)}
        away = away_from({site.pk for site in sites}) if sites is not None else []
        self.away = away_frame(
            (place_of[days.person_id], days.first.toordinal(), days.last.toordinal())
            for days in away
            if days.person_id in place_of
        )
        scopes = list(Scope.objects.order_by("pk").values_list("pk", "code"))
        self.scopes = {code: index for index, (_pk, code) in enumerate(scopes)}
        self._scope_pks = np.array([pk for pk, _code in scopes], dtype=np.int64)
        self.operations = dict(Operation.objects.values_list("code", "scope__code"))
        holdings = [
            (
                mark,
                self.numbers[place_of[pk]],
                place_of[pk],
                first.toordinal(),
                (last or date.max).toordinal(),
            )
            for mark, pk, first, last in stamps.values_list(
                "mark", "person", "issued_on", "returned_on"
            )
        ]
        self.stamps = pl.DataFrame(
            holdings,
            schema={
                "stamp": pl.String,
                "number": pl.String,
                PERSON: pl.Int64,
                "first": pl.Int64,
                "last": pl.Int64,
            },
            orient="row",
        )

    def spans(self, logged: LoggedDays, check_options: CheckOptions, progress: Progress) -> Spans:
        """Work out how the pairs of a log stand."""
        if check_options == CheckOptions(zone=check_options.zone):
            return self._stored_spans(logged, progress)
        return self._spans_from_facts(logged, check_options, progress)

    def _stored_spans(self, logged: LoggedDays, progress: Progress) -> Spans:
        """Read the spans that are kept ready."""
        people = self._people_in(logged)
        stored_spans = StandingSpan.objects.order_by()
        if len(people) <= FEW_PEOPLE:
            stored_spans = stored_spans.filter(person__in=self._pks[people].tolist())
        # As text, for turning every day into an object takes longer than all the rest.
        rows = stored_spans.values_list(
            "person_id", "scope_id", Cast("first_day", CharField()), "standing", "certificate_id"
        ).iterator(chunk_size=ROWS_A_BATCH)
        done, batches = 0, []
        while batch := list(islice(rows, ROWS_A_BATCH)):
            done += len(batch)
            progress("spans", done, done)
            batches.append(self._read_batch(batch))
        spans = pl.concat(batches) if batches else self._read_batch([])
        spans = spans.filter(pl.col("key").is_not_null()).sort("key")
        numbers = pl.DataFrame(
            list(Certificate.objects.order_by().values_list("pk", "number")),
            schema={"certificate": pl.Int64, "number": pl.String},
            orient="row",
        )
        numbered = spans.join(numbers, on="certificate", how="left", maintain_order="left")
        return Spans(
            numbered["key"].to_numpy(),
            numbered["standing"].to_numpy(),
            numbered["number"].fill_null(""),
        )

    def _read_batch(self, rows: list[tuple]) -> pl.DataFrame:
        """Keys, standings and certificates of spans; no key for people who are not ours."""
        batch = pl.DataFrame(
            rows,
            schema={
                "person": pl.Int64,
                "scope": pl.Int64,
                "first_day": pl.String,
                "standing": pl.Enum(STANDINGS),
                "certificate": pl.Int64,
            },
            orient="row",
        )
        people = _places(self._pks, batch["person"].to_numpy())
        scopes = _places(self._scope_pks, batch["scope"].to_numpy())
        days = batch["first_day"].str.to_date("%Y-%m-%d").cast(pl.Int64).to_numpy() + EPOCH
        pairs = people * max(len(self.scopes), 1) + scopes
        keys = pl.Series("key", (pairs << DAY_BITS) | days)
        return pl.DataFrame(
            [
                keys.set(pl.Series(people < 0), None),
                batch["standing"].to_physical().cast(pl.UInt8),
                batch["certificate"],
            ]
        )

    def _people_in(self, logged: LoggedDays) -> np.ndarray:
        return np.unique(logged.pairs // max(len(self.scopes), 1))

    def _spans_from_facts(
        self, logged: LoggedDays, check_options: CheckOptions, progress: Progress
    ) -> Spans:
        """Ask the engine about everybody in the log, some hundred people at a time."""
        builder, days = SpansBuilder(), logged.days_by_pair()
        people = self._people_in(logged)
        for start in range(0, len(people), standing.BATCH_OF_PEOPLE):
            progress("standings", start, len(people))
            batch = people[start : start + standing.BATCH_OF_PEOPLE]
            for pair, facts in self._facts(batch):
                logged_days = days[pair]
                if not logged_days:
                    continue
                if check_options.counts_as_practice:
                    logged_practice = [
                        engine.PracticeFact(day, engine.ALWAYS_KNOWN) for day in logged_days
                    ]
                    facts = replace(facts, practice=[*facts.practice, *logged_practice])
                if check_options.as_known_then:
                    history = engine.History(facts)
                    for day in logged_days:
                        known_then = history.as_known_at(check_options.end_of(day))
                        builder.add_day(pair, day, known_then.span_on(day))
                else:
                    builder.add(pair, engine.timeline(facts, check_options.known_at))
        return builder.finish()

    def _facts(self, people: np.ndarray) -> Iterator[tuple[int, engine.Facts]]:
        pks = self._pks[people].tolist()
        indexes = dict(zip(pks, people.tolist(), strict=True))
        scopes = {pk: index for index, pk in enumerate(self._scope_pks.tolist())}
        facts_of = standing_on_day.facts_for_many(pks).by_person_and_scope
        for (person, scope), facts in facts_of.items():
            yield indexes[person] * len(scopes) + scopes[scope], facts


def _places(known: np.ndarray, numbers: np.ndarray) -> np.ndarray:
    """Where numbers stand among others, which are in order; -1 where they do not."""
    if not len(known):
        return np.full(len(numbers), -1)
    index = np.minimum(np.searchsorted(known, numbers), len(known) - 1)
    return np.where(known[index] == numbers, index, -1)
