"""A register bundle as something that a work log can be held against."""

from collections import defaultdict
from collections.abc import Iterator, Sequence
from datetime import date, tzinfo
from pathlib import Path

import numpy as np
import polars as pl

from audit.domain.frames import mapped
from audit.domain.standing_spans import DaysByPair, LoggedDays, Spans, SpansBuilder
from audit.domain.work_log_check import EPOCH, PERSON, CheckOptions, Progress, away_frame
from certification.domain.facts import (
    ALWAYS_KNOWN,
    CertificateFact,
    EventFact,
    EventKind,
    ExpiryRule,
    Facts,
    PracticeFact,
    SchemeFigures,
    VisionFact,
    known,
)
from certification.domain.periods import certificate_histories
from certification.domain.standing import History, Timeline
from certification.domain.upkeep import PracticeRecord, VisionRecord
from records.domain.problems import Problem

from .bundle_frames import BundleFrames

NO_DAYS = np.empty(0, dtype=np.int64), np.empty(0, dtype=np.int64)
PAIRS_A_BATCH = 5_000
PAIR, DAY, FIGURES = "pair", "day", "figures"


class BundleRegister:
    """Reads a bundle; the database is not asked.

    Rows of the bundle that cannot be read are left out and named in ``problems``.

    Parameters
    ----------
    path : Path
        A folder or zip.
    zone : tzinfo
        The clock of the instants that carry no offset.
    """

    def __init__(self, path: Path, zone: tzinfo) -> None:
        self._frames = BundleFrames(path, zone)
        people = self._part_without_repeats("people", "employee_number")
        self.numbers: list[str] = people["employee_number"].to_list()
        self.people = {number: index for index, number in enumerate(self.numbers)}
        operations = self._part_without_repeats("operations", "operation")
        self.operations = dict(operations.select("operation", "scope").iter_rows())
        certificates = self._part_without_repeats("certificates", "certificate_number")
        practice = self._frames.part("practice")
        codes_by_part = [frame["scope"].unique() for frame in (certificates, practice, operations)]
        codes = pl.concat(codes_by_part).unique().sort().to_list()
        self.scopes = {code: index for index, code in enumerate(codes)}
        self._practice = self._with_pairs(practice).select(
            PAIR, pl.col("performed_on").alias(DAY), "recorded_at", "withdrawn_at"
        )
        del practice
        self._figures: list[SchemeFigures] = []
        self._certificates = self._with_pairs(self._under_schemes(certificates))
        self._events = self._read_events()
        self._vision = self._read_vision_tests()
        self.stamps = self._read_stamps()
        self.away = away_frame()

    @property
    def problems(self) -> list[Problem]:
        """What of the bundle could not be read."""
        return self._frames.bundle.problems

    @property
    def remarks(self) -> list[str]:
        return self._frames.bundle.remarks

    # Reading

    def _part_without_repeats(self, part: str, key: str) -> pl.DataFrame:
        """A part, without the rows whose key stands further up already."""
        frame = self._frames.part(part)
        first = frame[key].is_first_distinct()
        for line, again in frame.filter(~first).select("line", key).iter_rows():
            reason = f"{again} stands further up already: left out."
            self._frames.bundle.refuse(part, line, key, reason)
        return frame.filter(first)

    def _people_of(self, frame: pl.DataFrame) -> pl.Series:
        numbers = frame["employee_number"]
        return mapped(numbers, self.numbers, [*self.people.values()], pl.Int64)

    def _with_pairs(self, frame: pl.DataFrame) -> pl.DataFrame:
        """Add the pair; leave out those who are not among the people."""
        scopes = mapped(frame["scope"], list(self.scopes), [*self.scopes.values()], pl.Int64)
        pairs = self._people_of(frame) * len(self.scopes) + scopes
        return frame.with_columns(pairs.alias(PAIR)).filter(pl.col(PAIR).is_not_null())

    def _under_schemes(self, certificates: pl.DataFrame) -> pl.DataFrame:
        """Add the place of the scheme's figures; leave out certificates without a scheme."""
        indexes: dict[str, int] = {}
        schemes = self._part_without_repeats("schemes", "scheme")
        for name, validity, rule, window, vision, absence in schemes.drop("line").iter_rows():
            indexes[name] = len(self._figures)
            self._figures.append(SchemeFigures(validity, ExpiryRule(rule), window, vision, absence))
        figures = mapped(certificates["scheme"], list(indexes), [*indexes.values()], pl.Int64)
        with_figures = certificates.with_columns(figures.alias(FIGURES))
        lost = with_figures.filter(pl.col(FIGURES).is_null())
        if "schemes" in self._frames.bundle.unread_parts:
            lost = lost.clear()  # The file itself has been named.
        for line, name in lost.select("line", "scheme").iter_rows():
            reason = f"There is no scheme {name}: the certificate is left out."
            self._frames.bundle.refuse("certificates", line, "scheme", reason)
        return with_figures.filter(pl.col(FIGURES).is_not_null())

    def _read_events(self) -> dict[str, list[EventFact]]:
        """Events by the number of their certificate."""
        events: dict[str, list[EventFact]] = defaultdict(list)
        for row in self._part_without_repeats("events", "event_id").iter_rows(named=True):
            events[row["certificate_number"]].append(
                EventFact(
                    row["event_id"],
                    row["certificate_number"],
                    EventKind(row["event"]),
                    row["effective_on"],
                    row["recorded_at"],
                    row["voids"],
                    row["until"],
                    row["authority"],
                    row["reason"],
                    row["restriction"],
                )
            )
        return events

    def _read_vision_tests(self) -> pl.DataFrame:
        frame = self._part_without_repeats("vision_tests", "test_id")
        return (
            frame.with_columns(self._people_of(frame).alias(PERSON))
            .filter(pl.col(PERSON).is_not_null())
            .select(
                PERSON,
                "test_id",
                "tested_on",
                pl.col("result") == "pass",
                "recorded_at",
                "withdrawn_at",
            )
        )

    def _read_stamps(self) -> pl.DataFrame:
        frame = self._frames.part("stamps")
        return frame.with_columns(
            self._people_of(frame).alias(PERSON),
            (pl.col("issued_on").cast(pl.Int64) + EPOCH).alias("first"),
            (pl.col("returned_on").cast(pl.Int64) + EPOCH)
            .fill_null(date.max.toordinal())
            .alias("last"),
        ).select("stamp", pl.col("employee_number").alias("number"), PERSON, "first", "last")

    # Answers

    def spans(self, logged: LoggedDays, check_options: CheckOptions, progress: Progress) -> Spans:
        """Work out how the pairs of a log stand."""
        work = _BundleSpans(self, logged, check_options)
        builder = SpansBuilder()
        done, total = 0, len(work.pairs)
        for batch in work.batches():
            progress("standings", done, total)
            done += work.add_to(builder, batch)
        return builder.finish()


class _BundleSpans:
    """One question about the pairs of one log."""

    def __init__(
        self, register: BundleRegister, logged: LoggedDays, check_options: CheckOptions
    ) -> None:
        self._figures = register._figures
        self._scopes = max(len(register.scopes), 1)
        self._events = register._events
        self._question = check_options
        self._known_then = check_options.as_known_then
        pairs = pl.Series(logged.pairs)
        certificates = register._certificates
        certificates = certificates.filter(pl.col(PAIR).is_in(pairs.implode()))
        self._certificates = self._valid_facts(certificates).sort(PAIR, maintain_order=True)
        self.pairs: np.ndarray = self._certificates[PAIR].unique(maintain_order=True).to_numpy()
        resting = [bool(figures.max_absence_months) for figures in self._figures]
        rests = self._certificates.filter(
            mapped(
                self._certificates[FIGURES].cast(pl.String),
                [str(index) for index in range(len(resting))],
                resting,
                pl.Boolean,
            )
        )
        matters = rests[PAIR].unique()
        practice = register._practice.filter(pl.col(PAIR).is_in(matters.implode()))
        self._practice = self._valid_facts(practice)
        if check_options.counts_as_practice:
            self._practice = pl.concat([self._practice, self._logged_practice(logged, matters)])
        if not self._known_then:
            self._practice = self._practice.select(PAIR, DAY).unique()
        self._practice = self._practice.sort(PAIR, DAY)
        self._vision = self._valid_facts(register._vision).sort(
            PERSON, "tested_on", "recorded_at", "test_id"
        )
        self._days = logged.days_by_pair() if self._known_then else DaysByPair(*NO_DAYS)

    def _valid_facts(self, frame: pl.DataFrame) -> pl.DataFrame:
        """The facts that stand as known at the instant asked about; all, for as known then."""
        at = self._question.known_at
        if self._known_then:
            return frame
        if at is None:
            return frame.filter(pl.col("withdrawn_at").is_null())
        withdrawn = pl.col("withdrawn_at")
        return frame.filter(
            (pl.col("recorded_at") <= at) & (withdrawn.is_null() | (withdrawn > at))
        )

    def _logged_practice(self, logged: LoggedDays, matters: pl.Series) -> pl.DataFrame:
        """The rows of the log as practice, known whenever it is asked about."""
        pairs, ordinals = logged.pairs_and_days()
        days = pl.DataFrame({PAIR: pairs, DAY: ordinals - EPOCH}).filter(
            pl.col(PAIR).is_in(matters.implode())
        )
        return days.select(
            PAIR,
            pl.col(DAY).cast(pl.Int32).cast(pl.Date),
            pl.lit(ALWAYS_KNOWN).cast(self._practice.schema["recorded_at"]).alias("recorded_at"),
            pl.lit(None).cast(self._practice.schema["withdrawn_at"]).alias("withdrawn_at"),
        )

    def batches(self) -> Iterator[np.ndarray]:
        for start in range(0, len(self.pairs), PAIRS_A_BATCH):
            yield self.pairs[start : start + PAIRS_A_BATCH]

    def add_to(self, builder: SpansBuilder, batch: np.ndarray) -> int:
        """Work out a batch of pairs; return how many they were."""
        certificates = _RowsByKey(self._certificates, PAIR, batch)
        practice = _RowsByKey(self._practice, PAIR, batch)
        people = np.unique(batch // self._scopes)
        vision = _RowsByKey(self._vision, PERSON, people)
        if self._known_then:
            self._add_day_by_day(builder, batch, certificates, practice, vision)
        else:
            self._add(builder, batch, certificates, practice, vision)
        return len(batch)

    def _add(
        self,
        builder: SpansBuilder,
        batch: np.ndarray,
        certificates: "_RowsByKey",
        practice: "_RowsByKey",
        vision: "_RowsByKey",
    ) -> None:
        """One timeline a pair, from what stands."""
        figures, at = self._figures, self._question.known_at
        numbers = certificates.lists("certificate_number")
        of_scheme = certificates.lists(FIGURES)
        issued_on = certificates.lists("issued_on")
        renews = certificates.lists("renews")
        days = practice.lists(DAY)
        tests = self._tests(vision)
        events = self._events
        person, record = -1, VisionRecord(())
        for index, pair in enumerate(batch.tolist()):
            if pair // self._scopes != person:
                person = pair // self._scopes
                record = VisionRecord(tests[vision.of(person)])
            own = certificates.at(index)
            facts = [
                CertificateFact(
                    numbers[row], figures[of_scheme[row]], issued_on[row], renews[row], ALWAYS_KNOWN
                )
                for row in range(own.start, own.stop)
            ]
            happened: Sequence[EventFact] = ()
            if events:
                happened = [
                    event for certificate in facts for event in events.get(certificate.number, ())
                ]
                if happened:
                    happened = known(Facts(events=happened), at).events
            builder.add(
                pair,
                Timeline(
                    certificate_histories(facts, happened),
                    record,
                    PracticeRecord.of_days(days[practice.at(index)]),
                ),
            )

    def _add_day_by_day(
        self,
        builder: SpansBuilder,
        batch: np.ndarray,
        certificates: "_RowsByKey",
        practice: "_RowsByKey",
        vision: "_RowsByKey",
    ) -> None:
        """One answer a day of the log, from what was known at the end of it."""
        tests = self._tests(vision)
        of_certificates = [
            certificates.lists(name)
            for name in (
                "certificate_number",
                FIGURES,
                "issued_on",
                "renews",
                "recorded_at",
                "withdrawn_at",
            )
        ]
        of_practice = [practice.lists(name) for name in (DAY, "recorded_at", "withdrawn_at")]
        for index, pair in enumerate(batch.tolist()):
            own, done = certificates.at(index), practice.at(index)
            facts = [
                CertificateFact(number, self._figures[scheme], issued, renews, at, withdrawn)
                for number, scheme, issued, renews, at, withdrawn in zip(
                    *(column[own] for column in of_certificates), strict=True
                )
            ]
            history = History(
                Facts(
                    facts,
                    [
                        event
                        for certificate in facts
                        for event in self._events.get(certificate.number, ())
                    ],
                    tests[vision.of(pair // self._scopes)],
                    [
                        PracticeFact(*row)
                        for row in zip(*(column[done] for column in of_practice), strict=True)
                    ],
                )
            )
            for day in self._days[pair]:
                timeline = history.as_known_at(self._question.end_of(day))
                builder.add_day(pair, day, timeline.span_on(day))

    def _tests(self, vision: "_RowsByKey") -> list[VisionFact]:
        columns = ("test_id", "tested_on", "result", "recorded_at", "withdrawn_at")
        lists = [vision.lists(name) for name in columns]
        return [VisionFact(*row) for row in zip(*lists, strict=True)]


class _RowsByKey:
    """The rows of some keys in a frame that is sorted by them."""

    def __init__(self, frame: pl.DataFrame, key: str, keys: np.ndarray) -> None:
        column = frame[key].to_numpy()
        low = int(np.searchsorted(column, keys[0], side="left"))
        high = int(np.searchsorted(column, keys[-1], side="right"))
        self._frame = frame.slice(low, high - low)
        rows = column[low:high]
        self._starts = np.searchsorted(rows, keys, side="left").tolist()
        self._ends = np.searchsorted(rows, keys, side="right").tolist()
        self._places = {int(key): index for index, key in enumerate(keys)}

    def lists(self, name: str) -> list:
        return self._frame[name].to_list()

    def at(self, index: int) -> slice:
        """The rows of the key at a place."""
        return slice(self._starts[index], self._ends[index])

    def of(self, key: int) -> slice:
        return self.at(self._places[key])
