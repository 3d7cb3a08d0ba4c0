"""Types of the one class of the C parser that is used here."""

from ruamel.yaml.events import Event

class CParser:
    def __init__(self, stream: str) -> None: ...
    def get_event(self) -> Event: ...
