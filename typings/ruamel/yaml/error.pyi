class StringMark:
    line: int
    column: int

class YAMLStreamError(Exception): ...

class MarkedYAMLError(Exception):
    context: str | None
    context_mark: StringMark | None
    problem: str | None
    problem_mark: StringMark | None
