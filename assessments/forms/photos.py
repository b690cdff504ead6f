"""Photographs as they are sent, and where one is said to belong."""

from typing import Any

from django import forms
from django.utils.translation import gettext as _now
from django.utils.translation import gettext_lazy as _

from assessments.models import Board, Joint, Photo
from assessments.services.photos import joint_named_in
from training.models import Stage

BY_NAME = "by-name"
WHOLE_BOARD = "board"
KINDS = "image/jpeg,image/png,image/webp,image/heic,image/heif,.heic,.heif"


class ManyFilesInput(forms.FileInput):
    allow_multiple_selected = True


class ManyFilesField(forms.FileField):
    """One or more files; each is looked at on its own later, so that a bad one stops none."""

    widget = ManyFilesInput

    def clean(self, data: Any, initial: Any = None) -> list:
        files = data if isinstance(data, list | tuple) else [data] if data else []
        if not files:
            raise forms.ValidationError(self.error_messages["required"], code="required")
        return list(files)


def joints_of(board: Board) -> list[Joint]:
    return list(board.joints.select_related("position"))


class PhotosForm(forms.Form):
    """Many photographs at once, for the whole board, for one joint, or by their names."""

    photos = ManyFilesField(
        label=_("From this device"),
        error_messages={"required": _("Choose at least one photograph.")},
        widget=ManyFilesInput(attrs={"accept": KINDS, "class": "form-control"}),
        help_text=_("JPEG, PNG, WebP or HEIC, many at once."),
    )
    joint = forms.ChoiceField(label=_("They show"), required=False)
    stage = forms.ChoiceField(label=_("Stage"), required=False)

    def __init__(self, *args: Any, board: Board, joints: list[Joint], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.joints = {str(joint.pk): joint for joint in joints}
        self.fields["joint"].choices = [  # type: ignore[attr-defined]
            (BY_NAME, _now("by file name (E07_1.jpg)")),
            (WHOLE_BOARD, _now("the whole board")),
            *(
                (key, _now("joint %(joint)s") % {"joint": joint})
                for key, joint in self.joints.items()
            ),
        ]
        self.fields["stage"].choices = stage_choices(board)  # type: ignore[attr-defined]

    def joint_for(self, name: str) -> Joint | None:
        chosen = self.cleaned_data["joint"] or BY_NAME
        if chosen == BY_NAME:
            return joint_named_in(name, self.joints.values())
        return self.joints.get(chosen)


class PlaceForm(forms.ModelForm):
    """Which joint and stage a photograph shows, and a word about it."""

    class Meta:
        model = Photo
        fields = ["joint", "stage", "note"]
        help_texts = {"note": _("For example: from the left, lamp low.")}

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        board = self.instance.board
        joint = self.fields["joint"]
        joint.queryset = board.joints.select_related("position")  # type: ignore[attr-defined]
        joint.empty_label = _now("the whole board")  # type: ignore[attr-defined]
        joint.label = _("It shows")
        self.fields["stage"].choices = stage_choices(board)  # type: ignore[attr-defined]


def stage_choices(board: Board) -> list[tuple[str, Any]]:
    return [("", _now("not said")), *((one.value, one.label) for one in stages_of(board))]


def stages_of(board: Board) -> list[Stage]:
    """The stages the exercise asks for, or every stage where it names none."""
    return board.exercise.stage_list or list(Stage)
