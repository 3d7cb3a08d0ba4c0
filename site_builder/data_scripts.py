"""Values as scripts: `fetch` does not work from a folder on disk, a classic script does."""

import json

_ENCODER = json.JSONEncoder(ensure_ascii=False, separators=(",", ":"), allow_nan=False)


def as_json(value: object) -> str:
    """JSON as short as it can be; text stays readable, and no number is written that JSON does not have."""
    return _ENCODER.encode(value)


def assigned(target: str, value: object) -> bytes:
    """A script that assigns one value."""
    return _assigned(target, as_json(value))


def added(name: str, key: str, value: object) -> bytes:
    """A script that puts a value beside others of its kind."""
    return added_json(name, key, as_json(value))


def added_json(name: str, key: str, text: str) -> bytes:
    """The same of what is JSON already."""
    head = f"globalThis.{name} = globalThis.{name} || {{}};\n"
    return head.encode() + _assigned(f"globalThis.{name}[{as_json(key)}]", text)


def _assigned(target: str, text: str) -> bytes:
    # Two line ends that JSON has in texts as they are, and that scripts had not before 2019.
    plain = text.replace("\N{LINE SEPARATOR}", "\\u2028").replace("\N{PARAGRAPH SEPARATOR}", "\\u2029")
    return f"{target} = {plain};\n".encode()
