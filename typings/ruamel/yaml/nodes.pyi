from .error import StringMark

class Node:
    tag: str
    start_mark: StringMark

class ScalarNode(Node):
    value: str
    style: str | None

class SequenceNode(Node):
    value: list[Node]

class MappingNode(Node):
    value: list[tuple[Node, Node]]
