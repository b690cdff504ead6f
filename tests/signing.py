"""Pages that sign: read as a browser reads them, and sent with what they showed."""

import re
from collections.abc import Mapping
from typing import Any

from django.test import Client

HIDDEN = re.compile(r'<input type="hidden" name="([\w-]*shown[\w-]*)" value="([^"]+)"')


def shown_on(response: Any) -> dict[str, str]:
    """What each form of a page carries of what the page shows."""
    return dict(HIDDEN.findall(response.content.decode()))


def send_as_shown(
    client: Client, address: str, fields: Mapping[str, Any], page: str = "", **options: Any
) -> Any:
    """Open a page and send its form as it was shown; `page` where the form leads elsewhere."""
    opened = client.get(page or address)
    return client.post(address, shown_on(opened) | dict(fields), **options)
