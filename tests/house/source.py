"""The source as the rules of the house look at it."""

import ast
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache
from pathlib import Path

CHECKOUT = Path(__file__).resolve().parent.parent.parent


@dataclass(frozen=True)
class Module:
    """A module: where it stands in the checkout, its text and its tree."""

    name: str
    text: str
    tree: ast.Module

    def nodes(self) -> Iterator[ast.AST]:
        return ast.walk(self.tree)

    def calls(self) -> Iterator[ast.Call]:
        return (node for node in self.nodes() if isinstance(node, ast.Call))

    def functions(self) -> Iterator[ast.FunctionDef | ast.AsyncFunctionDef]:
        return (
            node
            for node in self.nodes()
            if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef)
        )


@cache
def modules(*folders: str) -> tuple[Module, ...]:
    """Read every module of these folders of the checkout."""
    return tuple(
        _module(file) for folder in folders for file in sorted((CHECKOUT / folder).rglob("*.py"))
    )


def _module(file: Path) -> Module:
    text = file.read_text(encoding="utf-8")
    return Module(str(file.relative_to(CHECKOUT)), text, ast.parse(text))


def called(call: ast.Call) -> str:
    """Name what is called, without what it is called on: `commit` of `session.commit()`."""
    match call.func:
        case ast.Name(id=name) | ast.Attribute(attr=name):
            return name
    return ""


def length(node: ast.stmt) -> int:
    """Count the lines of a statement."""
    return (node.end_lineno or node.lineno) - node.lineno + 1
