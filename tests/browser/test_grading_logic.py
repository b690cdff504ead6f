"""What the grading screen works out in the browser: states, queue, keys, places on a photograph."""

import pytest

from tests.assessments.joint_state_cases import CRITERIA, load

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


@pytest.fixture
def run(visitor):
    """Run a script with the modules at hand: ``import("./...")`` from ``static/js/``."""
    window = visitor()
    window.go("/account/login/")

    def evaluate(script, given=None):
        return window.page.evaluate(script.replace('import("./', 'import("/static/js/'), given)

    yield evaluate
    assert not window.complaints


def test_a_joint_is_in_the_state_that_the_table_says(run):
    criteria = {
        code: {
            "minor": severity == "minor",
            "rest": severity != "critical" and not is_measured,
            "must_measure": is_measured,
        }
        for code, (severity, is_measured) in CRITERIA.items()
    }
    cases = load()
    found = run(
        """async ([cases, criteria]) => {
          const { stateOf, acceptedWithRest } = await import("./grading/joint-state.js");
          return cases.map(({ codes, spare, judged, shown }) => {
            const place = { joint: true, spare, codes };
            const outcomes = Object.entries(judged).map(([code, outcome]) => [code, { outcome }]);
            const judgements = Object.fromEntries(outcomes);
            const accepted = acceptedWithRest(place, judgements, criteria, shown);
            return [stateOf(place, judgements, criteria), accepted.sort()];
          });
        }""",
        [cases, criteria],
    )
    assert found == [[case["state"], case["accepted"]] for case in cases]


def test_nothing_of_the_whole_board_goes_with_the_rest(run):
    found = run(
        """async () => {
          const { acceptedWithRest } = await import("./grading/joint-state.js");
          const place = { joint: false, spare: false, codes: ["A", "B"] };
          const criteria = { A: { rest: true }, B: { rest: true } };
          return acceptedWithRest(place, {}, criteria, "A");
        }"""
    )
    assert found == ["A"]


MODEL = """
  const { GradingModel } = await import("./grading/grading-model.js");
  const place = (name, spare = false) => ({
    name, joint: true, spare, codes: ["A", "B"],
    photos: [`${name}.1`, `${name}.2`], best: `${name}.2`,
  });
  const criteria = { A: { minor: false, rest: true }, B: { minor: true, rest: true } };
  const photos = {};
  for (const name of ["E1", "E2", "E3"]) {
    for (const n of [1, 2]) photos[`${name}.${n}`] = { src: `/${name}.${n}` };
  }
  const acts = [];
  const data = {
    stage: "soldered", place: "E1", criterion: "A", photo: "E1.1", across: "", ahead: ["/next"],
    places: [place("E1"), place("E2"), place("E3", true)], criteria, photos, judged: {},
  };
  const model = new GradingModel(data, () => acts);
  const judge = (name, criterion, outcome = "accept") => acts.push(
    { stage: "soldered", changes: [{ place: name, criterion, judged: outcome && { outcome } }] },
  );
"""


def test_after_a_judgement_comes_the_next_open_criterion_then_the_next_open_joint(run):
    found = run(
        "async () => {"
        + MODEL
        + """
          const stops = [];
          for (const [name, criterion] of [["E1", "A"], ["E1", "B"], ["E2", "A"], ["E2", "B"]]) {
            judge(name, criterion);
            stops.push([model.goOn(), { ...model.here }]);
          }
          return [stops, [...model.states().values()]];
        }"""
    )
    assert found == [
        [
            [False, {"place": "E1", "criterion": "B", "photo": "E1.1"}],
            [False, {"place": "E2", "criterion": "A", "photo": "E2.2"}],
            [False, {"place": "E2", "criterion": "B", "photo": "E2.2"}],
            [False, {"place": "E2", "criterion": "B", "photo": "E2.2"}],
        ],
        ["accepted", "accepted", "not_applicable"],
    ]


def test_across_a_class_a_finished_joint_leads_to_the_next_trainee(run):
    found = run(
        "async () => {"
        + MODEL
        + """
          data.across = "C-1";
          judge("E1", "A");
          const first = model.goOn();
          judge("E1", "B", "reject");
          return [first, model.goOn(), model.here.place, model.photosAhead()];
        }"""
    )
    assert found == [False, True, "E1", ["/E1.2", "/next"]]


def test_what_waits_lies_over_what_is_saved_until_it_is_taken_back(run):
    found = run(
        "async () => {"
        + MODEL
        + """
          model.save([{ place: "E1", criterion: "A", judged: { outcome: "reject" } }], "soldered");
          model.save([{ place: "E1", criterion: "B", judged: { outcome: "accept" } }], "cleaned");
          const saved = model.judgementsOf("E1");
          judge("E1", "B");
          const waiting = [model.states().get("E1"), [...model.unsavedOf("E1")]];
          judge("E1", "A", null);
          return [saved, waiting, model.states().get("E1")];
        }"""
    )
    assert found == [{"A": {"outcome": "reject"}}, ["rejected", ["B"]], "open"]


QUEUE = """
  const { UploadQueue } = await import("./lib/upload-queue.js");
  const items = [];
  const began = [];
  const open = new Map();
  const make = (options) => new UploadQueue({
    waiting: () => items.filter((item) => !item.done),
    send: (item) => {
      began.push(item.name);
      return new Promise((resolve) => open.set(item.name, (stop = "") => {
        item.done = !stop;
        resolve(stop);
      }));
    },
    ...options,
  });
  const add = (...names) => items.push(...names.map((name) => ({ name, lane: name[0] })));
  const settle = async (name, stop) => {
    open.get(name)(stop);
    await new Promise((resolve) => setTimeout(resolve, 10));
  };
"""


def test_the_queue_sends_so_many_at_once_and_one_of_a_lane_after_the_other(run):
    found = run(
        "async () => {"
        + QUEUE
        + """
          const queue = make({ atOnce: 2, lane: (item) => item.lane });
          add("a1", "a2", "b1", "c1");
          const ended = queue.run();
          const seen = [[...began]];
          await settle("b1");
          seen.push([...began]);
          await settle("a1");
          seen.push([...began]);
          add("d1");
          queue.run();
          await settle("c1");
          await settle("a2");
          await settle("d1");
          await ended;
          return [seen, began, queue.state];
        }"""
    )
    assert found == [
        [["a1", "b1"], ["a1", "b1", "c1"], ["a1", "b1", "c1", "a2"]],
        ["a1", "b1", "c1", "a2", "d1"],
        "idle",
    ]


def test_the_queue_that_stopped_sends_the_same_thing_first_when_it_goes_on(run):
    found = run(
        "async () => {"
        + QUEUE
        + """
          const queue = make({});
          add("a1", "a2");
          queue.run();
          await settle("a1", "offline");
          const stopped = [queue.state, [...began]];
          queue.run();
          await settle("a1");
          await settle("a2");
          return [stopped, began, queue.state];
        }"""
    )
    assert found == [["offline", ["a1"]], ["a1", "a1", "a2"], "idle"]


def test_the_queue_tries_again_by_itself_where_it_may(run):
    found = run(
        "async () => {"
        + QUEUE
        + """
          const queue = make({ retryAfterMs: [20] });
          add("a1");
          queue.run();
          await settle("a1", "offline");
          await new Promise((resolve) => setTimeout(resolve, 100));
          const again = [...began];
          await settle("a1");
          return [again, queue.state];
        }"""
    )
    assert found == [["a1", "a1"], "idle"]


JUDGEMENTS = """
  const { JudgementQueue, countUnsaved } = await import("./grading/judgement-queue.js");
  const heard = [];
  const posted = [];
  let answer = { later: "offline" };
  const queue = new JudgementQueue("grading:1:B-1:grade", {
    heard: (what) => heard.push(what),
    send: async (item) => {
      posted.push(item);
      return answer;
    },
  });
  const add = (n) => queue.add("/judge/", { n }, { kind: "judge", stage: "soldered", changes: [] });
  const rest = () => new Promise((resolve) => setTimeout(resolve, 50));
"""


def test_a_judgement_waits_under_its_key_until_the_site_has_it(run):
    found = run(
        "async () => {"
        + JUDGEMENTS
        + """
          const { key } = add("1");
          await rest();
          const waiting = [queue.state, countUnsaved(queue.name)];
          answer = { saved: true, answer: {} };
          await queue.send();
          await rest();
          const keys = new Set(posted.map((item) => item.key));
          const form = /^[0-9a-f]{8}-[0-9a-f]{4}-4[0-9a-f]{3}-[89ab][0-9a-f]{3}-[0-9a-f]{12}$/;
          const left = countUnsaved(queue.name);
          return [waiting, keys.size, form.test(key), left, heard.includes("saved")];
        }"""
    )
    assert found == [["offline", 1], 1, True, 0, True]


def test_what_the_site_refuses_is_kept_to_be_judged_again(run):
    found = run(
        "async () => {"
        + JUDGEMENTS
        + """
          answer = { saved: false, answer: { says: "Signed." } };
          const { key } = add("1");
          await rest();
          const kept = [queue.items.length, queue.refused.map((item) => item.says)];
          return [kept, queue.dismiss(key).says, countUnsaved(queue.name)];
        }"""
    )
    assert found == [[0, ["Signed."]], "Signed.", 0]


def test_only_what_is_not_on_its_way_is_taken_back_unsent(run):
    found = run(
        "async () => {"
        + JUDGEMENTS
        + """
          add("1");
          add("2");
          await rest();
          const last = queue.dropLast();
          return [last.fields.n, queue.items.map((item) => item.fields.n)];
        }"""
    )
    assert found == ["2", ["1"]]


def test_keys_pressed_while_an_answer_is_on_its_way_wait_in_order(run):
    found = run(
        """async () => {
          const { KeyBuffer, isKey, nameOf } = await import("./grading/keys.js");
          const pressed = [];
          const keys = new KeyBuffer((name) => {
            pressed.push(name);
            if (name === "p") keys.hold();
          });
          keys.take("a");
          keys.hold();
          for (const name of ["p", "r", "n"]) keys.take(name);
          keys.release();
          const first = [...pressed];
          keys.forget();
          keys.release();
          const named = [["A", true], ["A", false], ["ArrowLeft", false]].map(
            ([key, shiftKey]) => nameOf({ key, shiftKey }),
          );
          return [first, pressed, named, ["a", "A", "x", "ArrowLeft"].map(isKey)];
        }"""
    )
    assert found == [
        ["a", "p"],
        ["a", "p"],
        ["A", "a", "ArrowLeft"],
        [True, True, False, True],
    ]


def test_a_click_falls_on_the_picture_and_not_on_what_is_left_beside_it(run):
    found = run(
        """async () => {
          const { pointIn } = await import("./grading/mark.js");
          const box = { left: 10, top: 20, width: 400, height: 400 };
          const size = { wide: 800, high: 400 };
          return [[210, 220], [10, 120], [210, 30]].map(
            ([clientX, clientY]) => pointIn(box, size, { clientX, clientY }),
          );
        }"""
    )
    assert found == [{"x": 400, "y": 200}, {"x": 0, "y": 0}, None]
