"""Drawings of the organisation's own are safe and never change; each fits its limits."""

import hashlib
import re
import time
from decimal import Decimal
from io import BytesIO
from xml.etree import ElementTree

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import IntegrityError, transaction
from django.template import Context, Template
from django.urls import reverse
from PIL import Image
from PIL.PngImagePlugin import PngInfo

from assessments.content.criteria import REVISIONS
from assessments.domain import limit_drawings
from assessments.exceptions import NotADrawing
from assessments.imaging import drawings
from assessments.models import Criterion, CriterionDrawing
from assessments.presenters import criterion_drawings as shown
from assessments.services import criterion_drawings as services
from records.queries.verification import verify_records
from tests.assessments.drawing_files import KNOWN_CLASSES
from tests.factories import NOW, make_criteria_set, make_exercise, make_user

PLAIN = (
    '<?xml version="1.0"?><!-- by hand --><svg xmlns="http://www.w3.org/2000/svg"'
    ' xmlns:ink="http://ink.example.org/" width="160" height="120" ink:version="1" id="a">'
    "<title>Old</title><metadata><ink:x/></metadata>"
    '<g transform="translate(2 3)"><path id="b" class="d-wire" d="M0 0L10,10z" fill="#d8a27d"'
    ' stroke="none" ink:label="x" data-x="1"/></g>'
    '<text x="10" y="20" font-size="10.5">200° &amp; more</text></svg>'
)


def svg(content="<path d='M0 0'/>", attributes="viewBox='0 0 10 10'"):
    return f"<svg xmlns='http://www.w3.org/2000/svg' {attributes}>{content}</svg>".encode()


def png(size=(40, 30), **more):
    out = BytesIO()
    Image.new("RGB", size, "white").save(out, "PNG", **more)
    return out.getvalue()


def test_an_svg_is_made_anew_from_lines_and_texts():
    cleaned = drawings.clean_svg(PLAIN.encode(), 'A "wrap" & more')

    root = ElementTree.fromstring(cleaned)
    names = [element.tag.rpartition("}")[2] for element in root.iter()]
    assert names == ["svg", "title", "g", "path", "text"]
    assert root.get("viewBox") == "0 0 160 120"
    assert root.get("aria-label") == 'A "wrap" & more'
    path = root.find(".//{*}path")
    assert path is not None
    assert path.attrib == {
        "class": "d-wire",
        "d": "M0 0L10,10z",
        "fill": "#d8a27d",
        "stroke": "none",
    }
    assert root.findtext("{*}text") == "200° & more"
    assert drawings.clean_svg(cleaned, 'A "wrap" & more') == cleaned


@pytest.mark.parametrize(
    "data",
    [
        b"",
        b"not xml",
        b"<html/>",
        b"<svg xmlns='http://www.w3.org/2000/svg' viewBox='0 0 1 1'><path",
        svg("<script>alert(1)</script>"),
        svg("<foreignObject><p/></foreignObject>"),
        svg("<a href='/'><path d='M0 0'/></a>"),
        svg("<use href='#x'/>"),
        svg("<image href='https://example.org/x.png'/>"),
        svg("<style>path{fill:red}</style>"),
        svg("<path d='M0 0' style='fill:url(https://example.org)'/>"),
        svg("<path d='M0 0' onclick='alert(1)'/>"),
        svg("<path d='M0 0' fill='url(#x)'/>"),
        svg("<path d='M0 0' fill='javascript:alert(1)'/>"),
        svg("<path d='M0 0;alert'/>"),
        svg("<path d='M0 0' xmlns:x='http://www.w3.org/1999/xlink' x:href='#y'/>"),
        svg("<animate attributeName='x'/>"),
        svg("<set attributeName='x'/>"),
        svg("<filter/>"),
        svg("<x:script xmlns:x='http://www.w3.org/2000/svg'/>"),
        svg(attributes="viewBox='0 0 10 10' onload='alert(1)'"),
        svg(attributes=""),
        svg(attributes="viewBox='0 0 0 10'"),
        svg(""),
        svg("<metadata><path d='M0 0'/></metadata>"),
        svg("<g>" * 30 + "<path d='M0 0'/>" + "</g>" * 30),
        svg("<path d='M0 0'/>" * 3001),
        svg("<path d='M" + "1 " * 11_000 + "'/>"),
        b"<!DOCTYPE svg [<!ENTITY a 'b'>]>" + svg("<text>&a;</text>"),
        b"<!DOCTYPE svg SYSTEM 'https://example.org/x.dtd'>" + svg(),
        b"<?xml-stylesheet href='https://example.org/x.css'?>" + svg(),
        svg() + b" " * drawings.MOST_SVG_BYTES,
    ],
    ids=range(32),
)
def test_what_could_act_or_refer_elsewhere_is_refused_with_a_sentence(data):
    with pytest.raises(NotADrawing) as refused:
        drawings.clean_svg(data, "A wrap")
    assert str(refused.value).endswith(".")


LONG = "1" * 19_000


@pytest.mark.parametrize(
    "attributes",
    [
        f"points='{LONG}x'",
        f"points='{'1 ' * 9_000}x'",
        f"points='{'1e1' * 6_000}x'",
        f"transform='rotate({LONG}'",
        f"transform='{'rotate(1)' * 2_000}x'",
        f"stroke-dasharray='{LONG}x'",
        f"x='{LONG}x'",
        f"stroke-width='{LONG}x'",
        f"opacity='{LONG}x'",
    ],
)
def test_a_long_number_is_refused_at_once(attributes):
    """What is read by trying every way it falls into numbers takes years from 30 digits on."""
    began = time.process_time()
    with pytest.raises(NotADrawing, match="cannot be read safely"):
        drawings.clean_svg(svg(f"<rect {attributes}/>"), "A wrap")
    assert time.process_time() - began < 5


def test_a_long_number_in_a_view_box_is_refused_at_once():
    began = time.process_time()
    with pytest.raises(NotADrawing, match="how large it is"):
        drawings.clean_svg(svg(attributes=f"viewBox='0 0 10 {LONG}x'"), "A wrap")
    assert time.process_time() - began < 5


@pytest.mark.parametrize(
    ("box", "sentence"),
    [
        ("0 0 inf inf", "how large it is"),
        ("0 0 nan 10", "how large it is"),
        ("0 0 1e999 10", "too large or too small"),
        ("0 0 1e30 1e30", "too large or too small"),
        ("-1e30 0 10 10", "too large or too small"),
        ("0 0 1e-30 1e-30", "too large or too small"),
        ("0 0 ١٠ ١٠", "how large it is"),
    ],
)
def test_a_view_box_that_nothing_can_be_drawn_in_is_refused(box, sentence):
    with pytest.raises(NotADrawing, match=sentence):
        drawings.clean_svg(svg(attributes=f"viewBox='{box}'"), "A wrap")


@pytest.mark.parametrize(
    "attributes", ["d='M0 0L1e30 5'", "d='M0 0'  transform='scale(1e300)'", "d='M0 1e999'"]
)
def test_a_number_beyond_all_measure_is_refused(attributes):
    with pytest.raises(NotADrawing, match="beyond a million"):
        drawings.clean_svg(svg(f"<path {attributes}/>"), "A wrap")


@pytest.mark.parametrize(
    "encoding",
    ["no-such", "rot13", "hex", "zlib", "idna", "utf-7", "utf-16-le", "punycode", "shift_jis"],
)
def test_an_odd_encoding_is_refused_with_a_sentence(encoding):
    data = f'<?xml version="1.0" encoding="{encoding}"?>'.encode() + svg()
    with pytest.raises(NotADrawing, match=f"written in “{encoding}”"):
        drawings.clean_svg(data, "A wrap")


@pytest.mark.parametrize("encoding", ["UTF-8", "utf-8", "ISO-8859-1", "UTF-16"])
def test_a_plain_encoding_is_read(encoding):
    text = f'<?xml version="1.0" encoding="{encoding}"?>' + svg("<text>200°</text>").decode()
    cleaned = drawings.clean_svg(text.encode(encoding), "A wrap")
    assert ElementTree.fromstring(cleaned).findtext("{*}text") == "200°"


def test_a_png_is_made_anew_from_its_pixels():
    info = PngInfo()
    info.add_text("Comment", "secret <script>")

    cleaned = drawings.plain_picture(png((2000, 1000), pnginfo=info))

    with Image.open(BytesIO(cleaned)) as picture:
        assert (picture.format, picture.size, picture.info) == ("PNG", (1600, 800), {})
    assert b"secret" not in cleaned


@pytest.mark.parametrize(
    "data",
    [
        b"GIF89a",
        drawings.PNG_SIGNATURE + b"no more",
        png((100, 100))[:-30],
        png() + b"\0" * drawings.MOST_PICTURE_BYTES,
        png((5000, 4000)),
    ],
    ids=["gif", "only a signature", "cut off", "too many bytes", "too many pixels"],
)
def test_what_is_no_whole_png_is_refused(data):
    with pytest.raises(NotADrawing):
        drawings.plain_picture(data)


@pytest.mark.parametrize("kind", ["JPEG", "WEBP"])
@pytest.mark.django_db
def test_a_photograph_is_made_anew_once_and_comes_back_as_it_was_kept(kind):
    out = BytesIO()
    exif = Image.Exif()
    exif[0x010E] = "secret"
    Image.effect_noise((2000, 1000), 40).convert("RGB").save(out, kind, exif=exif)
    given = {"title": "Our cup", "actor": make_user("quality"), "at": NOW}

    drawing = services.add_drawing(file=BytesIO(out.getvalue()), **given)

    data = bytes(drawing.data)
    with Image.open(BytesIO(data)) as picture:
        assert (picture.format, picture.size) == ("JPEG", (1600, 800))
    assert (drawing.kind, drawing.ending) == ("image/jpeg", "jpg")
    assert b"secret" not in data
    assert services.add_drawing(file=BytesIO(data), **given) == drawing


@pytest.mark.django_db
def test_a_drawing_is_sent_for_an_exercise_and_shown_in_its_steps(client):
    client.force_login(make_user("instructor"))
    exercise = make_exercise(published=False)
    page = reverse("assessments:exercise_drawings", args=[exercise.code])

    bad = client.post(page, {"file": SimpleUploadedFile("x.gif", b"GIF89a"), "title": "X"})
    good = client.post(
        page, {"file": SimpleUploadedFile("x.svg", PLAIN.encode()), "title": "Our wrap"}
    )

    assert (bad.status_code, good.status_code) == (422, 302)
    drawing = CriterionDrawing.objects.get()
    steps = reverse("training:exercise_steps", args=[exercise.code])
    seen = re.search(r'name="seen" value="([^"]*)"', client.get(steps).content.decode())
    assert seen is not None
    step = {"stage": "soldered", "text": "Wrap it.", "drawing": drawing.name, "shows": "reject"}
    typed = {f"step-0-{name}": value for name, value in step.items()}
    sent = client.post(steps, {"seen": seen[1], "step-rows": 1, "do": "save", **typed})
    assert sent.status_code == 302
    shown_page = client.get(sent.url).content.decode()
    assert 'alt="Our wrap"' in shown_page
    assert drawing.sha256 in shown_page


@pytest.mark.django_db
def test_a_drawing_is_named_by_its_bytes_and_never_changes():
    user = make_user("quality")
    drawing = services.add_drawing(file=BytesIO(PLAIN.encode()), title="Wrap", actor=user, at=NOW)

    assert drawing.sha256 == hashlib.sha256(bytes(drawing.data)).hexdigest()
    again = services.add_drawing(file=BytesIO(PLAIN.encode()), title="Wrap", actor=user, at=NOW)
    assert again == drawing
    faults = verify_records(with_files=False).faults
    assert [fault for fault in faults if "drawing" in str(fault)] == []
    rows = CriterionDrawing.objects.filter(pk=drawing.pk)
    with pytest.raises(IntegrityError), transaction.atomic():
        rows.update(data=b"<svg/>")
    with pytest.raises(IntegrityError), transaction.atomic():
        rows.delete()


@pytest.mark.django_db
def test_a_drawing_is_sent_chosen_and_served_as_a_picture_alone(client):
    user = make_user("instructor")
    client.force_login(user)
    draft = make_criteria_set(published=False)
    send = reverse("assessments:criterion_drawing_add", args=[draft.pk])

    bad = client.post(send, {"file": SimpleUploadedFile("x.svg", svg("<script/>")), "title": "X"})
    good = client.post(
        send, {"file": SimpleUploadedFile("x.svg", PLAIN.encode()), "title": "Our wrap"}
    )

    assert bad.status_code == 422
    assert "&lt;script&gt;, which is not taken" in bad.content.decode()
    assert good.status_code == 302
    drawing = CriterionDrawing.objects.get()
    served = client.get(reverse("assessments:criterion_drawing", args=[drawing.sha256]))
    assert served.content == bytes(drawing.data)
    assert served["Content-Type"] == "image/svg+xml"
    assert served["Content-Security-Policy"] == "default-src 'none'; sandbox"
    assert served["X-Content-Type-Options"] == "nosniff"
    again = client.get(
        reverse("assessments:criterion_drawing", args=[drawing.sha256]),
        headers={"If-None-Match": served["ETag"]},
    )
    assert again.status_code == 304
    page = client.get(reverse("assessments:criterion_edit", args=[draft.pk, "S-1"]))
    assert f'value="{drawing.name}"' in page.content.decode()
    put = Template("{% load look %}{% drawing name %}").render(Context({"name": drawing.name}))
    assert 'alt="Our wrap"' in put
    assert drawing.sha256 in put


# Drawings and limits


def criterion(accept, reject="", low=None, high=None, unit="deg", more=()):
    return Criterion(
        accept_drawing=accept,
        reject_drawing=reject,
        more_reject_drawings=list(more),
        low=None if low is None else Decimal(low),
        high=None if high is None else Decimal(high),
        unit=unit,
    )


@pytest.mark.parametrize(
    "one",
    [one for revision in REVISIONS[1:] for one in revision.criteria],
    ids=lambda one: one.code,
)
def test_what_comes_along_is_shown_as_it_is_drawn(one):
    made = criterion(one.accept_drawing, one.reject_drawing, one.low, one.high, one.unit)

    assert shown.accept_shown(made) == one.accept_drawing
    assert shown.reject_shown(made) == one.reject_drawing


@pytest.mark.parametrize("revision", REVISIONS, ids=lambda revision: revision.revision)
def test_after_a_change_of_limits_the_drawing_says_no_other_angle(revision):
    [wrap] = [one for one in revision.criteria if one.code == "F-01"]
    made = criterion(wrap.accept_drawing, wrap.reject_drawing, 90, 200)

    assert shown.accept_shown(made) == "drawn/turret-wrap-top/145/deg/accept"
    # 140° is acceptable now, so it is no drawing of what fails.
    assert shown.reject_shown(made) == "drawn/turret-wrap-top/54/deg/reject"
    put = Template("{% load look %}{% drawing name %}").render(
        Context({"name": shown.accept_shown(made)})
    )
    assert "145°" in put
    assert "270" not in put
    assert "225" not in put


@pytest.mark.parametrize(
    ("made", "accept", "reject"),
    [
        (criterion("hook-wrap-accept", "hook-wrap-reject", 400), "hidden/accept", None),
        (criterion("hook-wrap-accept", "hook-wrap-reject", 1), None, "hidden/reject"),
        (
            criterion("clearance-accept", "clearance-reject-wide", 0, 4, "D"),
            None,
            "drawn/clearance/6/D/reject",
        ),
        (
            criterion("clearance-accept", "clearance-reject-wide", 0, 2, "d"),
            "drawn/clearance/1/d/accept",
            "drawn/clearance/3/d/reject",
        ),
        (
            criterion("strip-length-accept", "strip-length-reject", 3, 5, "mm"),
            "drawn/strip-length/4/mm/accept",
            "drawn/strip-length/1.8/mm/reject",
        ),
        (criterion("surface-smooth-accept", "surface-cold-reject", 3, 5, "mm"), None, None),
    ],
)
def test_what_does_not_fit_is_drawn_from_the_limits_or_hidden(made, accept, reject):
    assert shown.accept_shown(made) == (accept or made.accept_drawing)
    assert shown.reject_shown(made) == (reject or made.reject_drawing)


def test_every_further_drawing_is_shown():
    made = criterion("wetting-accept", "wetting-reject", high=90, more=("lead-nicked",))

    assert shown.rejects_shown(made) == ["wetting-reject", "lead-nicked"]


@pytest.mark.parametrize("limits", [(90, 200), (180, None), (None, 2), (0, 2), (0.5, 1.5)])
def test_what_is_drawn_lies_well_inside_and_well_outside(limits):
    low, high = limits
    good, bad = limit_drawings.inside(low, high), limit_drawings.outside(low, high)

    room = 0.05 * max(abs(edge) for edge in limits if edge is not None)
    assert low is None or good >= low + room
    assert high is None or good <= high - room
    assert (low is not None and bad <= low - room) or (high is not None and bad >= high + room)


@pytest.mark.parametrize(
    "name",
    [
        "drawn/turret-wrap-top/145/deg/accept",
        "drawn/turret-wrap-top/720/deg/reject",
        "drawn/clearance/1/D/accept",
        "drawn/clearance/-0.5/D/reject",
        "drawn/strip-length/8/mm/accept",
    ],
)
def test_what_is_drawn_is_a_drawing_like_the_others(name):
    ending, data = shown.file_of(name) or ("", b"")
    root = ElementTree.fromstring(data)

    assert ending == "svg"
    classes = {element.get("class") for element in root.iter()} - {None}
    assert classes <= KNOWN_CLASSES
    assert drawings.clean_svg(data, "The same")


@pytest.mark.parametrize("name", ["drawn/x", "drawn/clearance/x/D/accept", "drawn/a/1/D/accept"])
def test_a_name_that_nothing_can_be_drawn_of_is_an_empty_frame(name):
    put = Template("{% load look %}{% drawing name %}").render(Context({"name": name}))
    assert "is-missing" in put
    assert shown.file_of(name) is None
