"""What is kept in a shared cache is text: whoever can write there has nothing run by reading it."""

import json
from typing import Any


class JSONSerializer:
    """Values as JSON, where Django's own way would load pickles; whole numbers stay countable."""

    def dumps(self, value: Any) -> bytes | int:
        if isinstance(value, int) and not isinstance(value, bool):
            return value
        return json.dumps(value).encode()

    def loads(self, data: bytes) -> Any:
        return json.loads(data)
