"""Which changes are made: signs, bounds, constants, conditions of a file or a package.

Where something lies on a page, and how large it is, is looked at and not tested: in the modules
that draw (``DRAWN``), numbers and sums with them are layout and stay, but for what a number is
compared with or picks out. Signs, bounds, conditions and names are changed there as elsewhere.
The resolution that a number is shown to (``ROUNDED_BY``) says how many decimals; twice of it says
as many, so it is only halved.
"""

from __future__ import annotations

import ast
import copy
import random
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

DRAWN = (
    "telemetry/report/draw",
    "telemetry/report/figures/",
    "telemetry/report/picture.py",
    "telemetry/report/sheet/printed.py",
    "telemetry/report/writers/paper.py",
    "telemetry/report/writers/paper_tables.py",
    "telemetry/report/writers/pdf.py",
    "telemetry/report/writers/svg.py",
)
# Functions whose second argument is a resolution.
ROUNDED_BY = ("number", "measure", "_interval")
COMPARE: dict[type[ast.cmpop], tuple[type[ast.cmpop], ...]] = {
    ast.Lt: (ast.LtE, ast.GtE),
    ast.LtE: (ast.Lt, ast.Gt),
    ast.Gt: (ast.GtE, ast.LtE),
    ast.GtE: (ast.Gt, ast.Lt),
    ast.Eq: (ast.NotEq,),
    ast.NotEq: (ast.Eq,),
    ast.Is: (ast.IsNot,),
    ast.IsNot: (ast.Is,),
    ast.In: (ast.NotIn,),
    ast.NotIn: (ast.In,),
}
ARITHMETIC: dict[type[ast.operator], type[ast.operator]] = {
    ast.Add: ast.Sub,
    ast.Sub: ast.Add,
    ast.Mult: ast.Div,
    ast.Div: ast.Mult,
    ast.FloorDiv: ast.Mult,
    ast.Mod: ast.Mult,
    ast.Pow: ast.Mult,
    ast.BitAnd: ast.BitOr,
    ast.BitOr: ast.BitAnd,
}
NAMES = {
    "min": "max",
    "any": "all",
    "minimum": "maximum",
    "nanmin": "nanmax",
    "floor": "ceil",
    "argmin": "argmax",
}
NAMES |= {other: name for name, other in NAMES.items()}


@dataclass(frozen=True)
class Mutant:
    """One change: ``before`` at a place of a file becomes ``after``."""

    path: str
    line: int
    column: int
    end_line: int
    end_column: int
    before: str
    after: str

    @property
    def words(self) -> str:
        return f"{self.path}:{self.line}: {self.before}  ->  {self.after}"

    def applied(self, text: str) -> str:
        """The file's text with the change; columns of the syntax tree count UTF-8 bytes."""
        lines = text.encode().splitlines(keepends=True)
        head = b"".join(lines[: self.line - 1]) + lines[self.line - 1][: self.column]
        tail = lines[self.end_line - 1][self.end_column :] + b"".join(lines[self.end_line :])
        return (head + f"({self.after})".encode() + tail).decode()


def mutants_of(path: Path, name: str) -> Iterator[Mutant]:
    """Every mutant of a file, in order."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    layout = _layout(tree) if name.startswith(DRAWN) else set()
    steps = {
        call.args[1]
        for call in ast.walk(tree)
        if isinstance(call, ast.Call) and len(call.args) > 1
        if isinstance(call.func, ast.Name) and call.func.id in ROUNDED_BY
        if _is_number(call.args[1])
    }
    for node in _code(tree):
        if node in layout:
            continue
        where = _plain_test(node)
        changes = [ast.UnaryOp(ast.Not(), where)] if where is not None else list(_changes(node))
        for changed in changes[1:] if node in steps else changes:
            place = node if where is None else where
            assert isinstance(place, ast.expr)
            yield Mutant(
                name,
                place.lineno,
                place.col_offset,
                place.end_lineno or place.lineno,
                place.end_col_offset or 0,
                ast.unparse(place),
                ast.unparse(changed),
            )


def _layout(tree: ast.AST) -> set[ast.AST]:
    """Numbers, their signs, and sums with them, that no comparison and no index rests on."""
    counting = {
        node
        for whole in ast.walk(tree)
        if isinstance(whole, ast.Compare | ast.Subscript)
        for node in ast.walk(whole)
    }
    return {
        node
        for node in ast.walk(tree)
        if node not in counting
        and any(map(_is_number, (node, *ast.iter_child_nodes(node))))
        and isinstance(node, ast.Constant | ast.UnaryOp | ast.BinOp)
    }


def _is_number(node: ast.AST) -> bool:
    value = node.value if isinstance(node, ast.Constant) else None
    return isinstance(value, int | float) and not isinstance(value, bool)


def _code(tree: ast.AST) -> Iterator[ast.AST]:
    """Nodes that do something: no annotations, docstrings, decorators, messages, type checks."""
    for node in ast.iter_child_nodes(tree):
        if isinstance(node, ast.JoinedStr | ast.Raise | ast.Assert):
            continue
        if isinstance(node, ast.If) and "TYPE_CHECKING" in ast.unparse(node.test):
            continue
        if isinstance(node, ast.ClassDef | ast.FunctionDef):
            for part in (*node.body, *([node.args] if hasattr(node, "args") else [])):
                yield from _code(part)
            continue
        if isinstance(node, ast.arg):
            continue
        if isinstance(node, ast.AnnAssign):
            if node.value is not None:
                yield node.value
                yield from _code(node.value)
            continue
        yield node
        yield from _code(node)


def _plain_test(node: ast.AST) -> ast.expr | None:
    """The condition of an if or while that is no comparison, to be negated as a whole."""
    if not isinstance(node, ast.If | ast.While):
        return None
    return node.test if isinstance(node.test, ast.Name | ast.Attribute | ast.Call) else None


def _changes(node: ast.AST) -> Iterator[ast.expr]:
    if isinstance(node, ast.Compare):
        for i, op in enumerate(node.ops):
            for other in COMPARE[type(op)]:
                made = copy.deepcopy(node)
                made.ops[i] = other()
                yield made
    elif isinstance(node, ast.BinOp) and type(node.op) in ARITHMETIC and not _is_type(node):
        made = copy.deepcopy(node)
        made.op = ARITHMETIC[type(node.op)]()
        yield made
    elif isinstance(node, ast.BoolOp):
        made = copy.deepcopy(node)
        made.op = ast.Or() if isinstance(node.op, ast.And) else ast.And()
        yield made
    elif isinstance(node, ast.UnaryOp) and isinstance(node.op, ast.Not | ast.USub | ast.Invert):
        yield node.operand
    elif isinstance(node, ast.Constant):
        yield from _constants(node.value)
    elif isinstance(node, ast.Name | ast.Attribute):
        name = node.id if isinstance(node, ast.Name) else node.attr
        if name in NAMES and isinstance(node.ctx, ast.Load):
            made = copy.deepcopy(node)
            setattr(made, "id" if isinstance(node, ast.Name) else "attr", NAMES[name])
            yield made
    elif isinstance(node, ast.IfExp):
        yield ast.IfExp(test=node.test, body=node.orelse, orelse=node.body)


def _is_type(node: ast.BinOp) -> bool:
    """``float | None`` is a type, not arithmetic."""
    return isinstance(node.right, ast.Constant) and node.right.value is None


def _constants(value: object) -> Iterator[ast.expr]:
    if isinstance(value, bool):
        yield ast.Constant(not value)
    elif isinstance(value, int):
        yield ast.Constant(value + 1)
        yield ast.Constant(value - 1)
    elif isinstance(value, float):
        yield ast.Constant(2.0 * value if value else 1.0)
        yield ast.Constant(0.5 * value if value else -1.0)


def sample(root: Path, place: str, n: int, seed: int) -> list[Mutant]:
    """A seeded sample of the mutants of a package or of one file, without repeats.

    Its beginning is a smaller sample of the same kind.
    """
    here = root / place
    if not here.is_file():
        here = root / "telemetry" / place
    every = [
        m
        for path in ([here] if here.is_file() else sorted(here.rglob("*.py")))
        for m in mutants_of(path, path.relative_to(root).as_posix())
    ]
    chosen = random.Random(f"{seed} {place}").sample(range(len(every)), min(n, len(every)))
    return [every[i] for i in chosen]


def function_at(path: Path, line: int) -> str:
    """Name of the innermost function whose body has a line; "" for what runs at the import."""
    inside = [
        node
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
        if isinstance(node, ast.FunctionDef)
        and node.body[0].lineno <= line <= (node.end_lineno or line)
    ]
    return max(inside, key=lambda node: node.lineno).name if inside else ""
