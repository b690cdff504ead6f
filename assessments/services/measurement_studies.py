"""Measurement studies: laid out, marked blind, given reference values, closed and withdrawn."""

import secrets
from collections.abc import Callable, Mapping, Sequence
from dataclasses import asdict
from datetime import datetime
from math import isfinite
from typing import Any, TypeVar

from django.db import transaction
from django.utils.translation import gettext as _

from assessments.exceptions import AssessmentError, CannotMeasure, PhotoTakenBack
from assessments.models import (
    Board,
    Criterion,
    Joint,
    Measurement,
    MeasurementStudy,
    Photo,
    StudyClosing,
    StudyGrader,
    StudyPhoto,
    StudyReading,
    StudyReference,
    StudyWithdrawal,
)
from assessments.queries import measurement_studies as queries
from assessments.queries import written_down
from people.access import READERS
from people.models import Site, User
from records.services import trail

from .measuring import (
    least_mark_uncertainty_px,
    measure_on,
    options_for,
    pixel_as_shown_px,
    wire_of,
)
from .photo_lock import taken_back_in_words

MOST_PHOTOS = 60
MOST_REPEATS = 10
MOST_GRADERS = 20
UNITS = ("mm", "d", "D")
Ending = TypeVar("Ending", StudyClosing, StudyWithdrawal)
IN_UNITS = (Measurement.Quantity.LENGTH, Measurement.Quantity.CLEARANCE)


@transaction.atomic
def make_study(
    *,
    site: Site,
    title: str,
    quantity: str,
    unit: str = "",
    criterion: Criterion | None = None,
    photos: Sequence[Photo],
    graders: Sequence[User],
    repeats: int,
    actor: User,
    at: datetime,
) -> MeasurementStudy:
    """Lay out a study; what is read in it begins with the scales that the photographs have now.

    Parameters
    ----------
    criterion : Criterion, optional
        Says quantity and unit where it is given.
    photos : sequence of Photo
        Each of a joint; several of one joint are the joint photographed again.
    repeats : int
        How often each grader marks each photograph.

    Raises
    ------
    AssessmentError
        If nothing would be repeated, or a photograph or a grader does not fit.
    """
    if criterion is not None:
        quantity, unit = criterion.quantity, criterion.unit
    if quantity not in Measurement.Quantity.values or quantity == Measurement.Quantity.SCALE:
        raise AssessmentError(_("Choose what is measured: a study is of no scale."))
    if quantity not in IN_UNITS:
        unit = ""  # Angles, ratios and percentages are read in one unit alone.
    elif unit not in UNITS:
        raise AssessmentError(
            _("Say in what it is read: in millimetres or in diameters, alike by everybody.")
        )
    _refuse_graders(graders, site, at)
    title = title.strip()
    held_site = Site.objects.select_for_update(no_key=True).get(pk=site.pk)
    if MeasurementStudy.objects.filter(site=held_site, title__iexact=title).exists():
        raise AssessmentError(
            _("There is a study “%(title)s” at this site. Give this one another title.")
            % {"title": title}
        )
    wanted = {photo.pk: n for n, photo in enumerate(photos)}
    # Boards before their photographs, so that none is cancelled meanwhile.
    boards = Board.objects.select_for_update(no_key=True).order_by("pk")
    list(boards.filter(pk__in={photo.board_id for photo in photos}))
    held = list(
        Photo.objects.select_for_update(no_key=True, of=("self",))
        .select_related("board", "joint__position", "joint__board")
        .filter(pk__in=wanted)
        .order_by("pk")
    )
    for photo in photos:
        if photo.pk not in {one.pk for one in held}:
            raise PhotoTakenBack(taken_back_in_words(photo))
    _refuse_photos(held, held_site, quantity, unit)
    if not 1 <= repeats <= MOST_REPEATS:
        raise AssessmentError(
            _("Each photograph is marked 1 to %(n)d times.") % {"n": MOST_REPEATS}
        )
    joints = {photo.joint_id for photo in held}
    if repeats == 1 and len(joints) == len(held):
        raise AssessmentError(
            _(
                "Nothing is repeated so. Have each photograph marked twice or more, or choose "
                "several photographs of each joint."
            )
        )
    study = MeasurementStudy.objects.create(
        site=held_site,
        title=title,
        quantity=quantity,
        criterion=criterion,
        unit=unit,
        repeats=repeats,
        seed=secrets.token_hex(16),
        made_by=actor,
        recorded_at=at,
    )
    held.sort(key=lambda photo: wanted[photo.pk])
    StudyPhoto.objects.bulk_create(
        StudyPhoto(
            study=study,
            photo=photo,
            joint=photo.joint,
            order=order,
            scale_px_per_mm=photo.scale_px_per_mm,
            scale_uncertainty=photo.scale_uncertainty,
            scale_view=photo.scale_view,
        )
        for order, photo in enumerate(held)
    )
    StudyGrader.objects.bulk_create(StudyGrader(study=study, user=user) for user in graders)
    trail.record(
        actor=actor,
        act=written_down.STUDY_MADE,
        about=study,
        payload=written_down.study_content(study),
        at=at,
    )
    return study


def _refuse_graders(graders: Sequence[User], site: Site, at: datetime) -> None:
    if not graders:
        raise AssessmentError(_("Choose who marks: one grader or more."))
    if len(graders) > MOST_GRADERS:
        raise AssessmentError(_("At most %(n)d graders mark in one study.") % {"n": MOST_GRADERS})
    for user in graders:
        if not user.may_sign_in(at):
            raise AssessmentError(
                _("%(who)s has left or cannot sign in, and could mark nothing. Leave them out.")
                % {"who": user}
            )
        if not user.has_role(*READERS, site=site):
            raise AssessmentError(
                _("%(who)s neither teaches nor audits at this site. Choose somebody who does.")
                % {"who": user}
            )


def _refuse_photos(photos: Sequence[Photo], site: Site, quantity: str, unit: str) -> None:
    if len({photo.joint_id for photo in photos}) < 2:
        raise AssessmentError(_("Choose photographs of two joints or more."))
    if len(photos) > MOST_PHOTOS:
        raise AssessmentError(
            _("A study has %(n)d photographs at most. Choose fewer.") % {"n": MOST_PHOTOS}
        )
    for photo in photos:
        said = {"name": photo.original_name, "board": photo.board.number}
        if photo.board.site_id != site.pk:
            raise AssessmentError(
                _("“%(name)s” of %(board)s belongs to another site. Leave it out.") % said
            )
        if photo.board.cancelled_at is not None:
            raise AssessmentError(
                _("“%(name)s”: board %(board)s was cancelled. Leave it out.") % said
            )
        if photo.joint is None:
            raise AssessmentError(
                _("“%(name)s” of %(board)s shows no single joint. Say which, or leave it out.")
                % said
            )
        by_scale = quantity == Measurement.Quantity.LENGTH or unit == "mm"
        if by_scale and not photo.scale_px_per_mm:
            raise AssessmentError(
                _("“%(name)s” of %(board)s has no scale. Set it first, or leave it out.") % said
            )
        wire = wire_of(photo.joint)
        size = {"d": wire.conductor, "D": wire.overall}.get(unit, True)
        if not size:
            raise AssessmentError(
                _(
                    "The wire’s diameter is not known at the joint of “%(name)s” of %(board)s. "
                    "Read in millimetres, or leave it out."
                )
                % said
            )


@transaction.atomic
def keep_reading(
    *,
    study: MeasurementStudy,
    grader: User,
    turn: int,
    marks: Mapping[str, Sequence[Sequence[float]]],
    winding: str = "",
    full_turns: int = 0,
    across: str = "",
    shown_width_px: float | None = None,
    at: datetime,
) -> StudyReading:
    """Keep what a grader's marks give on the photograph whose turn it is.

    It judges nothing and changes nothing of the photograph.

    Parameters
    ----------
    turn : int
        Which turn the page was shown for, so that no photograph is marked for another.

    Raises
    ------
    CannotMeasure
        If the marks give no result.
    AssessmentError
        If the study is over, the turn is done, or the user was not asked.
    """
    held = _lock_open(study)
    invited = StudyGrader.objects.filter(study=held, user=grader).first()
    if invited is None:
        raise AssessmentError(_("You were not asked to mark in this study."))
    due = queries.next_turn(held, invited)
    if due is None:
        raise AssessmentError(_("You have marked all of this study. Thank you."))
    if turn != due.number:
        raise AssessmentError(
            _("That photograph is marked and kept already. Go on with the one that is shown now.")
        )
    photo = due.study_photo.photo
    least = least_mark_uncertainty_px(photo, shown_width_px)
    options = options_for(
        joint=due.study_photo.joint,
        criterion=held.criterion,
        winding=winding,
        full_turns=full_turns,
        across=across,
        unit=held.unit,
    )
    read = measure_on(photo, held.quantity, marks, options, least)
    if not (isfinite(read.value) and isfinite(read.u) and read.terms["marks"] > 0):
        raise CannotMeasure(_("These marks give no sensible value. Set them anew."))
    reading = StudyReading.objects.create(
        study_photo=due.study_photo,
        grader=invited,
        turn=turn,
        marks={name: [[float(x), float(y)] for x, y in points] for name, points in marks.items()},
        options={
            name: said
            for name, said in (asdict(options) | {"shown_width_px": shown_width_px}).items()
            if said
        },
        mark_uncertainty_px=least,
        pixel_px=pixel_as_shown_px(photo, shown_width_px),
        value=read.value,
        standard_uncertainty=read.u,
        unit=read.unit,
        budget=read.terms,
        remarks=[remark.value for remark in read.remarks],
        recorded_at=at,
    )
    trail.record(
        actor=grader,
        act=written_down.STUDY_MARKED,
        about=reading,
        payload=written_down.reading_content(reading),
        at=at,
    )
    return reading


@transaction.atomic
def state_reference(
    *,
    study: MeasurementStudy,
    joint: Joint,
    value: float,
    expanded_uncertainty: float,
    source: str,
    actor: User,
    at: datetime,
) -> StudyReference:
    """Say what a joint of the study measures by a better means; the latest word counts.

    Raises
    ------
    AssessmentError
        If the study is over, the joint is not in it, or whoever says it marks in it.
    """
    held = _lock_open(study)
    _refuse_grader(held, actor, _("Whoever marks in a study states no reference value for it."))
    if not held.photos.filter(joint=joint).exists():
        raise AssessmentError(_("That joint is not in this study. Choose one that is."))
    if not (isfinite(value) and isfinite(expanded_uncertainty) and expanded_uncertainty > 0):
        raise AssessmentError(
            _("A reference value has an expanded uncertainty of more than 0: nothing is exact.")
        )
    reference = StudyReference.objects.create(
        study=held,
        joint=joint,
        value=value,
        expanded_uncertainty=expanded_uncertainty,
        source=source,
        stated_by=actor,
        recorded_at=at,
    )
    trail.record(
        actor=actor,
        act=written_down.STUDY_REFERENCE,
        about=reference,
        payload=written_down.reference_content(reference),
        at=at,
    )
    return reference


@transaction.atomic
def close_study(*, study: MeasurementStudy, reason: str, actor: User, at: datetime) -> StudyClosing:
    """Close a study: from here on it does not change, and what it shows of a mark counts.

    Raises
    ------
    AssessmentError
        If it is over, nothing was marked twice, or whoever closes it marks in it.
    """
    held = _lock_open(study)
    _refuse_grader(held, actor, _("Whoever marks in a study does not close it. Ask a colleague."))
    readings = queries.readings_of(held)
    if not readings:
        raise AssessmentError(
            _("Nothing has been marked in this study yet. Wait for the graders, or withdraw it.")
        )
    closing = StudyClosing(study=held, spreads=queries.spreads_shown(readings), closed_by=actor)
    return _end(closing, written_down.STUDY_CLOSED, written_down.closing_content, reason, actor, at)


@transaction.atomic
def withdraw_study(
    *, study: MeasurementStudy, reason: str, actor: User, at: datetime
) -> StudyWithdrawal:
    """Let nothing rest on a study any more, open or closed; what was measured before stays.

    Raises
    ------
    AssessmentError
        If it is withdrawn already, or whoever withdraws it marks in it.
    """
    held = _lock(study)
    if StudyWithdrawal.objects.filter(study=held).exists():
        raise AssessmentError(_("“%(title)s” is withdrawn already.") % {"title": held.title})
    _refuse_grader(
        held, actor, _("Whoever marks in a study does not withdraw it. Ask a colleague.")
    )
    withdrawal = StudyWithdrawal(study=held, withdrawn_by=actor)
    return _end(
        withdrawal, written_down.STUDY_WITHDRAWN, written_down.withdrawal_content, reason, actor, at
    )


def _end(
    ending: Ending,
    act: str,
    content_of: Callable[[Ending], dict[str, Any]],
    reason: str,
    actor: User,
    at: datetime,
) -> Ending:
    """Keep that a study is closed or withdrawn, and write it down."""
    ending.reason, ending.recorded_at = reason, at
    ending.save(force_insert=True)
    trail.record(actor=actor, act=act, about=ending, payload=content_of(ending), at=at)
    return ending


def _lock(study: MeasurementStudy) -> MeasurementStudy:
    """The study, locked to the end of the transaction; what is read of it is read afterwards."""
    return MeasurementStudy.objects.select_for_update(no_key=True).get(pk=study.pk)


def _lock_open(study: MeasurementStudy) -> MeasurementStudy:
    held = _lock(study)
    if StudyWithdrawal.objects.filter(study=held).exists():
        raise AssessmentError(_("“%(title)s” is withdrawn.") % {"title": held.title})
    if StudyClosing.objects.filter(study=held).exists():
        raise AssessmentError(
            _("“%(title)s” is closed and does not change. Lay out another study.")
            % {"title": held.title}
        )
    return held


def _refuse_grader(study: MeasurementStudy, actor: User, says: str) -> None:
    if study.graders.filter(user=actor).exists():
        raise AssessmentError(says)
