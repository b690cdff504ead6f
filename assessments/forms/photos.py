"""Photographs as they are sent, and where one is said to belong."""

import secrets
from typing import Any

from django import forms
from django.conf import settings
from django.template.defaultfilters import filesizeformat
from django.utils.translation import gettext as _now
from django.utils.translation import gettext_lazy as _

from assessments.models import Board, Joint, Photo
from assessments.services.photo_sorting import How, Sorting, last_makes
from training.models import Stage

WHOLE_BOARD = "board"
MOST_A_JOINT = 50
SENDING = r"^[0-9a-f]{32}\Z"
KINDS = (
    "image/jpeg,image/png,image/webp,image/heic,image/heif,image/tiff,image/bmp,"
    ".heic,.heif,.tif,.tiff,.bmp"
)


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


class SortingForm(forms.Form):
    """What many photographs show: told by their names, by their order, or the same for all."""

    joint = forms.ChoiceField(label=_("They show"), required=False)
    each = forms.IntegerField(
        label=_("Photographs a joint"),
        required=False,
        min_value=1,
        max_value=MOST_A_JOINT,
        widget=forms.NumberInput(attrs={"inputmode": "numeric"}),
    )
    first = forms.ChoiceField(label=_("Beginning at joint"), required=False)
    stage = forms.ChoiceField(label=_("Stage"), required=False)

    def __init__(self, *args: Any, board: Board, joints: list[Joint], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.joints = {str(joint.pk): joint for joint in joints}
        named = [(key, str(joint)) for key, joint in self.joints.items()]
        self.fields["joint"].choices = [  # type: ignore[attr-defined]
            (How.BY_NAME.value, _now("what their names say (E07_1.jpg)")),
            (How.TAKEN.value, _now("joint after joint, in the order taken")),
            (How.NAMES.value, _now("joint after joint, in the order of their names")),
            (WHOLE_BOARD, _now("the whole board")),
            *((key, _now("joint %(joint)s") % {"joint": joint}) for key, joint in named),
        ]
        self.fields["first"].choices = [  # type: ignore[attr-defined]
            (str(joint.pk), str(joint)) for joint in last_makes(joints).values()
        ]
        self.fields["each"].initial = 1
        self.fields["stage"].choices = stage_choices(board)  # type: ignore[attr-defined]

    def sorting(self) -> Sorting:
        data = self.cleaned_data
        chosen = data["joint"] or How.BY_NAME.value
        if chosen == WHOLE_BOARD or chosen in self.joints:
            return Sorting(How.TOGETHER, joint=self.joints.get(chosen))
        return Sorting(How(chosen), first=self.joints.get(data["first"]), each=data["each"] or 1)


class PhotosForm(SortingForm):
    """Many photographs at once."""

    photos = ManyFilesField(
        label=_("From this device"),
        error_messages={"required": _("Choose at least one photograph.")},
        widget=ManyFilesInput(attrs={"accept": KINDS, "class": "form-control"}),
    )

    sending = forms.RegexField(
        SENDING,
        required=False,
        widget=forms.HiddenInput,
        initial=lambda: secrets.token_hex(16),
        error_messages={"invalid": _("Open the board anew, then send the photographs again.")},
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["photos"].help_text = limits_in_words()
        self.most_at_once = settings.DATA_UPLOAD_MAX_NUMBER_FILES


def limits_in_words() -> str:
    text = _now(
        "JPEG, PNG, WebP or HEIC, also TIFF and BMP, stills only. Each up to %(bytes)s and"
        " %(pixels)d million pixels, a progressive JPEG up to %(progressive)d million; at most"
        " %(many)d at once."
    )
    return text % {
        "bytes": filesizeformat(settings.PHOTO_MAX_BYTES),
        "pixels": settings.PHOTO_MAX_PIXELS // 1_000_000,
        "progressive": settings.PHOTO_MAX_PIXELS_SEVERAL_SCANS // 1_000_000,
        "many": settings.DATA_UPLOAD_MAX_NUMBER_FILES,
    }


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
    return [("", _now("not said")), *((stage.value, stage.label) for stage in stages_of(board))]


def stages_of(board: Board) -> list[Stage]:
    """The stages the exercise asks for, or every stage where it names none."""
    return board.exercise.stage_list or list(Stage)
