"""The plan of where photographs go, as the browser works it out: dealt, moved, shifted, undone."""

import pytest

from assessments.domain.photo_places import dealt
from tests.browser.test_grading_logic import run as _with_modules

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

run = _with_modules

PLAN = """
  const { PhotoPlan, BOARD, OUT } = await import("./photos/photo-plan.js");
  const clock = "in-order-taken";
  const photo = (name, named = null, counts = true) => ({ name, named, counts });
  const planOf = (photos, joints, set = {}) => {
    const plan = new PhotoPlan(joints, { how: clock, ...set });
    plan.bring(photos, { [clock]: photos, "in-order-of-names": [...photos].reverse() });
    return plan;
  };
  const told = (plan) => [...plan.places().values()].join(" ");
  const joints = ["E1", "E2", "E3", "E4"];
  const six = ["a", "b", "c", "d", "e", "f"].map((name) => photo(name));
"""


def tell(run, body):
    return run(f"async () => {{ {PLAN} {body} }}")


def test_the_browser_deals_as_the_server_does(run):
    joints = ["E1", "E2", "E3", "E4"]
    order = [4, 0, 1, 5, 3, 2]
    asked = [(each, first) for each in (1, 2, 3, 7) for first in ("E1", "E3", "E4")]
    found = run(
        f"""async ([order, asked]) => {{ {PLAN}
          return asked.map(([each, first]) => {{
            const plan = planOf(six, joints, {{ each, first }});
            plan.orders[clock] = order.map((at) => six[at]);
            return [...plan.places().values()];
          }});
        }}""",
        [order, asked],
    )
    server = [dealt(order, joints[joints.index(first) :], each) for each, first in asked]
    assert found == [[joint or "board" for joint in places] for places in server]


def test_what_takes_no_place_and_what_is_left_over(run):
    assert (
        tell(
            run,
            """
            six[1].counts = false;
            return told(planOf(six, ["E1", "E2"], { each: 2 }));
            """,
        )
        == "E1 board E1 E2 E2 board"
    )


def test_by_name_and_all_together(run):
    assert tell(
        run,
        """
        const photos = [photo("a", "E3"), photo("b"), photo("c", "E1")];
        const plan = planOf(photos, joints, { how: "by-name" });
        const seen = [told(plan)];
        for (const how of ["board", "E2", "E9"]) {
          plan.change("how", how);
          seen.push(told(plan));
        }
        return seen;
        """,
    ) == ["E3 board E1", "board board board", "E2 E2 E2", "E9 E9 E9"]


def test_a_change_of_how_many_follows_at_once_and_keeps_what_was_put_by_hand(run):
    assert tell(
        run,
        """
        const plan = planOf(six, joints);
        const seen = [told(plan)];
        plan.move([six[5]], "E4");
        plan.change("each", 2);
        seen.push(told(plan));
        plan.undo();
        seen.push(told(plan));
        plan.undo();
        seen.push(told(plan), plan.past.length);
        return seen;
        """,
    ) == [
        "E1 E2 E3 E4 board board",
        "E1 E1 E2 E2 E3 E4",
        "E1 E2 E3 E4 board E4",
        "E1 E2 E3 E4 board board",
        0,
    ]


def test_what_is_not_moved_stays_where_it_is(run):
    assert tell(
        run,
        """
        const plan = planOf(six, joints, { each: 2 });
        plan.move([six[2]], "E1");
        const seen = [told(plan)];
        plan.move([six[0]], OUT);
        seen.push(told(plan));
        plan.move([six[1]], BOARD);
        seen.push(told(plan));
        return seen;
        """,
    ) == ["E1 E1 E1 E2 E3 E3", "out E1 E1 E2 E3 E3", "out board E1 E2 E3 E3"]


def test_one_too_many_at_a_joint_is_put_right_by_shifting_what_follows(run):
    assert (
        tell(
            run,
            """
        const plan = planOf(six, joints, { each: 2 });
        plan.shift(six.slice(2), -1);
        return told(plan);
        """,
        )
        == "E1 E1 E1 E2 E2 E3"
    )


def test_shifting_goes_by_places_of_which_a_joint_has_as_many_as_photographs(run):
    assert tell(
        run,
        """
        const plan = planOf(six, joints, { each: 2 });
        const seen = [plan.shift(six.slice(1), 1), told(plan)];
        seen.push(plan.shift(six, 1), told(plan), plan.shift(six, 1));
        seen.push(plan.shift(six, -1), plan.shift(six, -1), told(plan));
        return seen;
        """,
    ) == [
        "",
        "E1 E2 E2 E3 E3 E4",
        "",
        "E1 E2 E3 E3 E4 E4",
        "last",
        "",
        "first",
        "E1 E2 E2 E3 E3 E4",
    ]


def test_shifting_what_names_tell_and_what_was_put_by_hand(run):
    assert tell(
        run,
        """
        const photos = [photo("a", "E3"), photo("b"), photo("c", "E1")];
        const plan = planOf(photos, joints, { how: "by-name" });
        plan.move([photos[2]], "E2");
        const seen = [plan.shift([photos[0], photos[2]], 1), told(plan)];
        seen.push(plan.shift([photos[1]], 1), plan.shift([photos[0]], 1), told(plan));
        return seen;
        """,
    ) == ["", "E4 board E3", "none", "last", "E4 board E3"]


def test_digits_that_are_typed_are_undone_together(run):
    assert tell(
        run,
        """
        const plan = planOf(six, joints);
        for (const typed of [1, 12]) plan.change("each", typed);
        plan.undo();
        return [plan.set.each, plan.past.length];
        """,
    ) == [1, 0]


DROPS = (
    (40, 20, {"how": "in-order-taken", "each": 2}),
    (39, 20, {"how": "in-order-taken", "each": 2}),
    (20, 20, {"how": "in-order-taken", "each": 1}),
    (19, 20, None),
    (1, 0, None),
)
"""How many photographs, of how many joints, and what they seem to be."""


def test_what_a_drop_seems_to_be_whose_names_say_nothing(run):
    found = run(
        f"""async (drops) => {{ {PLAN}
          return drops.map(([photographs, count]) => {{
            const photos = Array.from({{ length: photographs }}, (_, at) => photo(`IMG_${{at}}`));
            const plan = planOf(photos, Array.from({{ length: count }}, (_, at) => `E${{at}}`));
            const guess = plan.suggestion();
            photos[0].named = "E1";
            return [guess, plan.suggestion()];
          }});
        }}""",
        [[photographs, joints] for photographs, joints, _guess in DROPS],
    )
    assert found == [[guess, None] for _photographs, _joints, guess in DROPS]


def test_of_a_jpeg_no_more_is_sent_than_tells_when_it_was_taken(run):
    """The segment with the camera's notes, and no byte of the picture."""
    found = run(
        """async () => {
          const { headThatTellsWhen } = await import("./photos/exif-head.js");
          const segment = (marker, text, length) => {
            const bytes = new Uint8Array(length + 2);
            bytes.set([0xff, marker, length >> 8, length & 255]);
            bytes.set(new TextEncoder().encode(text), 4);
            return bytes;
          };
          const start = new Uint8Array([0xff, 0xd8]);
          const picture = new Uint8Array(300_000);
          const sizes = [];
          for (const parts of [
            [start, segment(0xe0, "JFIF", 16), segment(0xe1, "Exif", 9000), picture],
            [start, segment(0xe1, "http://ns", 500), segment(0xe1, "Exif", 700), picture],
            [start, segment(0xe0, "JFIF", 16), segment(0xda, "", 12), picture],
            [new TextEncoder().encode("ftypheic"), picture],
            [start],
          ]) sizes.push((await headThatTellsWhen(new File(parts, "a.jpg"))).size);
          return sizes;
        }"""
    )
    assert found == [2 + 18 + 9002, 2 + 502 + 702, 64, 128 * 1024, 2]
