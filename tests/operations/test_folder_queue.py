"""The queue in a folder keeps every message once, with several processes at it."""

import json
import subprocess
import sys
from pathlib import Path

import pytest
from kombu import Connection, Queue

from operations.backends import folder_queue as broker

MESSAGES_EACH = 150

PRODUCE = """
import sys
from kombu import Connection, Queue
from operations.backends import folder_queue as broker
from pathlib import Path
with Connection("folder://", transport_options=broker.transport_options(Path(sys.argv[1]))) as link:
    queue = Queue("jobs", routing_key="jobs")
    producer = link.Producer()
    for number in range(int(sys.argv[3])):
        body = {"by": sys.argv[2], "number": number, "padding": "x" * 20_000}
        producer.publish(body, exchange=queue.exchange, routing_key="jobs", declare=[queue])
"""

CONSUME = """
import json, socket, sys
from kombu import Connection, Consumer, Queue
from operations.backends import folder_queue as broker
from pathlib import Path
options = broker.transport_options(Path(sys.argv[1])) | {"polling_interval": 0.01}
with Connection("folder://", transport_options=options) as link:
    got = []
    def keep(body, message):
        got.append([body["by"], body["number"]])
        message.ack()
    with Consumer(link, [Queue("jobs", routing_key="jobs")], callbacks=[keep]):
        while True:
            try:
                link.drain_events(timeout=3)
            except socket.timeout:
                break
print(json.dumps(got))
"""


@pytest.fixture
def link(tmp_path):
    with Connection("folder://", transport_options=broker.transport_options(tmp_path)) as link:
        yield link


def simple_queue(link, name="jobs"):
    return link.SimpleQueue(Queue(name, routing_key=name))


def run(code, *arguments):
    return subprocess.Popen(
        [sys.executable, "-c", code, *map(str, arguments)],
        stdout=subprocess.PIPE,
        text=True,
        cwd=Path(__file__).parents[2],
    )


def test_two_producers_and_two_consumers_pass_every_message_once(tmp_path):
    consumers = [run(CONSUME, tmp_path) for _ in range(2)]
    producers = [run(PRODUCE, tmp_path, name, MESSAGES_EACH) for name in "ab"]
    outputs = [process.communicate(timeout=60)[0] for process in (*producers, *consumers)][2:]
    got = [(by, number) for output in outputs for by, number in json.loads(output)]
    assert sorted(got) == [(by, number) for by in "ab" for number in range(MESSAGES_EACH)]
    assert {process.returncode for process in (*producers, *consumers)} == {0}


def test_a_message_that_is_not_finished_is_not_taken(link, tmp_path):
    queue = simple_queue(link)
    (tmp_path / "messages" / "0_x.jobs.msg.1.part").write_text('{"bo')
    with pytest.raises(queue.Empty):
        queue.get(block=False)


def test_messages_come_in_the_order_they_were_sent(link):
    queue = simple_queue(link)
    for number in range(5):
        queue.put(number)
    taken = [queue.get(block=False) for _ in range(5)]
    assert [message.payload for message in taken] == [0, 1, 2, 3, 4]


def test_a_queue_leaves_the_messages_of_another_alone(link):
    ours, theirs = simple_queue(link), simple_queue(link, "other")
    theirs.put("for the other")
    assert (ours.qsize(), theirs.qsize()) == (0, 1)


def test_a_message_that_was_not_acknowledged_is_there_for_the_next_reader(tmp_path):
    options = broker.transport_options(tmp_path)
    with Connection("folder://", transport_options=options) as link:
        queue = simple_queue(link)
        queue.put("rendition 7")
        assert queue.get(block=False).payload == "rendition 7"
    with Connection("folder://", transport_options=options) as link:
        assert simple_queue(link).get(block=False).payload == "rendition 7"


def test_a_deleted_queue_is_no_longer_fed(link):
    kept, gone = (Queue(name, exchange=name, routing_key="all") for name in ("kept", "gone"))
    channel = link.default_channel
    for queue in (kept, gone):
        queue(channel).declare()
    gone(channel).delete()
    assert channel.get_table("gone") == []
    assert [binding.queue for binding in channel.get_table("kept")] == ["kept"]
