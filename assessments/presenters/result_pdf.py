"""The result sheet as a PDF on A4: tagged, its fonts embedded, nothing fetched from elsewhere.

The same sheet printed at the same instant by the same person gives the same bytes.
"""

from datetime import UTC
from io import BytesIO
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

from django.utils.translation import gettext as _
from PIL import Image

from assessments.exceptions import NotAPhotograph
from assessments.models import Photo, Rendition
from assessments.services.photos import open_rendition
from people.presenters import paper

from .criterion_drawings import accept_shown, file_of, reject_shown
from .result_sheet import JudgementShown, Picture, ResultSheet

SOURCE = Path(__file__).parent / "print" / "result_sheet.typ"
LONGEST = 640  # pixels of a picture on paper, some 240 to the inch
JPEG_QUALITY = 82
# What the page's style sheet says of a limit line, for paper.
LINE_STYLE = (
    "<style>.band{fill:#d9e7e1}.scale,.limit,.value,.spread{fill:none;stroke:#1d2124}"
    ".scale{stroke:#7d8286}.limit{stroke-width:1.5}.value{stroke-width:3}"
    ".spread{stroke:#b0571f;stroke-width:7}text{font-size:13px;fill:#1d2124;"
    "font-family:'Libertinus Serif'}</style>"
)


def result_pdf(sheet: ResultSheet) -> bytes:
    """Set a result sheet as a PDF.

    A photograph whose file can no longer be read is left out, and the sheet says so.
    """
    with TemporaryDirectory(prefix="result-sheet-") as folder:
        at = Path(folder)
        zone = sheet.board.site.time_zone
        return paper.typeset(SOURCE, _TypstData(at).all(sheet), zone=zone, folder=at)


def texts_on_sheet(sheet: ResultSheet) -> list[str]:
    """Every text of the PDF, without making its pictures."""
    return list(paper.texts_in(_TypstData(None).all(sheet)))


class _TypstData:
    """The sheet as plain values, and its pictures as files in a folder, if there is one."""

    def __init__(self, folder: Path | None) -> None:
        self.folder = folder
        self.drawings: dict[str, str] = {}
        self.count = 0

    def all(self, sheet: ResultSheet) -> dict[str, Any]:
        return {
            "printed_utc": list(sheet.printed_at.astimezone(UTC).timetuple()[:6]),
            "title": sheet.title,
            "running": sheet.running,
            "printed": f"{sheet.printed} · {sheet.trail}" if sheet.trail else sheet.printed,
            "verdict": sheet.verdict,
            "verdict_word": sheet.verdict_word,
            "score": sheet.score,
            "facts": sheet.facts,
            "rules": [[rule.name, rule.value, rule.asked, rule.met] for rule in sheet.rules],
            "measured": sheet.measured,
            "by_eye": sheet.by_eye,
            "joints": [
                [part.name, part.note, part.state, part.state_word, part.points]
                for part in sheet.parts
            ],
            "parts": [
                {
                    "name": part.name,
                    "note": part.note,
                    "state": part.state,
                    "state_word": part.state_word,
                    "score": part.score,
                    "pictures": [self._picture(picture) for picture in part.pictures],
                    "faults": [self._said(said) for said in part.faults],
                    "measured": [self._said(said) for said in part.measured],
                    "plain": part.plain,
                }
                for part in sheet.parts
            ],
            "signed": [[signed.stage, signed.who, signed.facts] for signed in sheet.signed],
            "corrections": sheet.corrections,
            "criteria_sets": sheet.criteria_sets,
            "sources": [
                [source_said.document, source_said.clauses, source_said.codes]
                for source_said in sheet.sources
            ],
            "unverified": sheet.unverified,
            "tools": [
                [tool_said.code, tool_said.kind, tool_said.used, tool_said.calibrated]
                for tool_said in sheet.tools
            ],
            "words": words(),
        }

    def _said(self, said: JudgementShown) -> dict[str, Any]:
        criterion = said.criterion
        line = said.line
        return {
            "title": said.title,
            "outcome": said.outcome,
            "cost": said.cost,
            "asks": criterion.text,
            "fails": criterion.reject_text,
            "advice": criterion.advice,
            "measured": said.measured,
            "verdict": said.verdict,
            "limits": said.limits,
            "note": said.judgement.note,
            "how": said.how,
            "grader": said.grader,
            "source": said.source,
            "unverified": said.unverified,
            "accept": self._drawing(accept_shown(criterion)) if said.rejects else None,
            "reject": self._drawing(reject_shown(criterion)) if said.rejects else None,
            "line": self._keep("svg", _alone(line.svg(), LINE_STYLE).encode())
            if line and said.rejects
            else None,
            "line_said": line.description() if line else "",
        }

    def _keep(self, kind: str, content: bytes) -> str:
        self.count += 1
        name = f"{self.count}.{kind}"
        if self.folder is not None:
            (self.folder / name).write_bytes(content)
        return name

    def _drawing(self, name: str) -> str | None:
        if name not in self.drawings:
            file = file_of(name)
            self.drawings[name] = self._keep(*file) if file else ""
        return self.drawings[name] or None

    def _picture(self, picture: Picture) -> dict[str, Any]:
        file = None
        try:
            if self.folder is not None:
                file = self._keep("jpg", cut_out(picture))
        except (NotAPhotograph, OSError):
            file = None
        return {
            "file": file,
            "marks": self._keep("svg", _marks_alone(picture).encode())
            if picture.marks and file
            else None,
            "alt": picture.alt,
            "caption": picture.caption,
        }


def words() -> dict[str, str]:
    """What the page and the PDF say around the figures, the same in both."""
    return {
        "result": _("Result"),
        "score": _("Board score"),
        "rules": _("Rule by rule"),
        "rule": _("Rule"),
        "here": _("Here"),
        "asked": _("Asked"),
        "met": _("Met"),
        "joints": _("Joints at a glance"),
        "joint": _("Joint"),
        "kind": _("Kind"),
        "joint_score": _("Score"),
        "one_by_one": _("Joint by joint"),
        "asks": _("Asked:"),
        "fails": _("Why it fails:"),
        "measured": _("Measured:"),
        "limits": _("Limit:"),
        "note": _("Note:"),
        "advice": _("Next time:"),
        "source": _("Rests on:"),
        "unverified": _("unverified"),
        "accept": _("Accept"),
        "reject": _("Reject"),
        "none_rejected": _("Nothing rejected."),
        "no_file": _("The photograph’s file can no longer be read."),
        "signed": _("Signed"),
        "corrections": _("Corrections"),
        "criteria": _("Judged against"),
        "document": _("Governing document"),
        "clauses": _("Clauses"),
        "codes": _("Criteria"),
        "tools": _("Tools"),
        "tool": _("Tool"),
        "tool_kind": _("Kind"),
        "used": _("Used"),
        "calibration": _("Calibration on that day"),
        "no_tools": _("No tool is named with this board."),
        "close": _(
            "Follow the governing standard, your local rules and your licensed safety practice; "
            "this sheet records training and does not replace them."
        ),
        "page": _("Page {n} of {all}"),
    }


# Pictures


def _rendition(photo: Photo) -> Any:
    """The large rendition's file; what was read with the board saves a question."""
    for rendition in photo.renditions.all():
        if rendition.size == Rendition.Size.LARGE:
            try:
                return rendition.file.open("rb")
            except FileNotFoundError:
                break
    return open_rendition(photo, Rendition.Size.LARGE)[1]


def cut_out(picture: Picture) -> bytes:
    """The window of the photograph as a JPEG for paper.

    Raises
    ------
    NotAPhotograph
        If the original can no longer be read.
    """
    left, top, across, down = picture.window
    with _rendition(picture.photo) as file, Image.open(file) as opened:
        # The decoder is asked for no more than the paper shows.
        share = LONGEST / max(across, down)
        wanted = (
            int(picture.photo.upright_width * share),
            int(picture.photo.upright_height * share),
        )
        opened.draft("RGB", wanted)
        scale = opened.width / picture.photo.upright_width
        box = (left * scale, top * scale, (left + across) * scale, (top + down) * scale)
        whole = opened.convert("RGB")
    inside = (max(box[0], 0), max(box[1], 0), min(box[2], whole.width), min(box[3], whole.height))
    shrink = min(1.0, LONGEST / max(inside[2] - inside[0], inside[3] - inside[1]))
    size = (
        max(round((inside[2] - inside[0]) * shrink), 1),
        max(round((inside[3] - inside[1]) * shrink), 1),
    )
    cut = whole.resize(size, Image.Resampling.LANCZOS, box=inside)
    out = BytesIO()
    cut.save(out, "JPEG", quality=JPEG_QUALITY, optimize=True)
    return out.getvalue()


def _marks_alone(picture: Picture) -> str:
    """What is marked on the picture, as a file of its own to lay over it."""
    _left, _top, across, down = picture.window
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="{picture.view_box}"'
        f' width="{across:.1f}" height="{down:.1f}">{picture.marks}</svg>'
    )


def _alone(svg: str, style: str) -> str:
    """An SVG of a page as a file by itself."""
    head, rest = svg.split(">", 1)
    return f'{head} xmlns="http://www.w3.org/2000/svg" width="360" height="54">{style}{rest}'
