"""A server of object storage on this machine, spoken to by HTTP; what it holds is in memory."""

import logging
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

import boto3
from moto.server import ThreadedMotoServer

from config.object_storage import storage_of

BUCKET = "jointworthy"


class ObjectServer:
    """Serves from when it is made; `stop` makes it unreachable at once.

    Parameters
    ----------
    is_empty : bool
        Whether what others in this process have put there goes: one memory serves them all.
    """

    def __init__(self, *, is_empty: bool = True) -> None:
        # Each request is a line of its own there otherwise.
        logging.getLogger("werkzeug").setLevel(logging.ERROR)
        self._server = ThreadedMotoServer(ip_address="127.0.0.1", port=0, verbose=False)
        self._server.start()
        host, port = self._server.get_host_and_port()
        self.url = f"s3+http://AKTESTS:secret@{host}:{port}/{BUCKET}"
        options: dict[str, Any] = storage_of(self.url)["OPTIONS"]
        self.client = boto3.client(
            "s3",
            endpoint_url=options["endpoint_url"],
            aws_access_key_id=options["access_key"],
            aws_secret_access_key=options["secret_key"],
            region_name=options["region_name"],
        )
        self.client.create_bucket(Bucket=BUCKET)
        if is_empty:
            self.empty()

    def names(self) -> list[str]:
        pages = self.client.get_paginator("list_objects_v2").paginate(Bucket=BUCKET)
        return [each["Key"] for page in pages for each in page.get("Contents", ())]

    def empty(self) -> None:
        for name in self.names():
            self.client.delete_object(Bucket=BUCKET, Key=name)

    def stop(self) -> None:
        self.client.close()
        self._server.stop()


@contextmanager
def object_server() -> Iterator[ObjectServer]:
    server = ObjectServer()
    try:
        yield server
    finally:
        server.stop()
