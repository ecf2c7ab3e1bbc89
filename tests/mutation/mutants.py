"""The small changes that a good test should notice, found in a module's syntax tree.

    comparison   < becomes <= and >=, == becomes !=, in becomes not in, is becomes is not, and back
    arithmetic   + becomes -, * becomes /, // becomes *, and back; signs and ``not`` are dropped
    boolean      and becomes or, and back; a condition is negated
    constant     a number grows by 1, and becomes 0; True becomes False, and back
    result       a value that is returned becomes None
    statement    a call, raise, continue, break or an assignment to something that exists is left out
    extreme      min becomes max, any becomes all, floor becomes ceil, and back
    argument     the first two arguments of a call change places

Left alone, because no test ought to notice: docstrings, type annotations, decorators, imports, assertions
and the ``strict`` of ``zip`` (claims of the program to itself), texts and what is formatted into them, and the
words of an error.
"""

import ast
import copy
from collections.abc import Callable, Iterator
from dataclasses import dataclass

COMPARISONS: dict[type[ast.cmpop], tuple[type[ast.cmpop], ...]] = {
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
OPERATORS: dict[type[ast.operator], type[ast.operator]] = {
    ast.Add: ast.Sub,
    ast.Sub: ast.Add,
    ast.Mult: ast.Div,
    ast.Div: ast.Mult,
    ast.FloorDiv: ast.Mult,
    ast.Mod: ast.Mult,
    ast.Pow: ast.Mult,
    ast.LShift: ast.RShift,
    ast.RShift: ast.LShift,
    ast.BitAnd: ast.BitOr,
    ast.BitOr: ast.BitAnd,
    ast.BitXor: ast.BitOr,
}
_PAIRS = (
    ("min", "max"),
    ("any", "all"),
    ("argmin", "argmax"),
    ("minimum", "maximum"),
    ("floor", "ceil"),
    ("logical_or", "logical_and"),
    ("ones", "zeros"),
)
EXTREMES = {**dict(_PAIRS), **{second: first for first, second in _PAIRS}}
SYMMETRIC = {"min", "max", "isinstance", "minimum", "maximum", "outer", "logical_or", "logical_and"}


@dataclass(frozen=True)
class Mutant:
    """One change of one module.

    index    its place among all changes of the module
    scope    outermost function that holds it, as "function" or "Class.method"; empty at module level
    text     the line that it begins on
    """

    module: str
    index: int
    line: int
    scope: str
    operator: str
    before: str
    after: str
    text: str


@dataclass(frozen=True)
class _Change:
    line: int
    scope: str
    operator: str
    before: str
    after: str
    apply: Callable[[], None]


def mutants_of(module: str, source: str) -> list[Mutant]:
    """Every mutant of a module, in the order of its text."""
    lines = source.splitlines()
    return [
        Mutant(
            module,
            index,
            one.line,
            one.scope,
            one.operator,
            one.before,
            one.after,
            lines[one.line - 1].strip(),
        )
        for index, one in enumerate(_Walk().changes(ast.parse(source)))
    ]


def mutated(source: str, index: int) -> ast.Module:
    """The syntax tree with the change of this number made."""
    tree = ast.parse(source)
    # All are found before one is made: a change must not lead the walk elsewhere.
    list(_Walk().changes(tree))[index].apply()
    return ast.fix_missing_locations(tree)


class _Walk:
    """Goes through a tree from top to bottom and knows which function it is in."""

    def __init__(self) -> None:
        self.scope: list[str] = []
        self.is_in_function = False
        self.bound: set[str] = set()

    def changes(self, tree: ast.AST) -> Iterator[_Change]:
        yield from self._children(tree)

    def _children(self, node: ast.AST) -> Iterator[_Change]:
        for field, value in ast.iter_fields(node):
            if field in ("annotation", "returns", "decorator_list", "type_comment"):
                continue
            for place, child in enumerate(value if isinstance(value, list) else [value]):
                if isinstance(child, ast.AST):
                    yield from self._node(child, node, field, place if isinstance(value, list) else None)

    def _node(self, node: ast.AST, parent: ast.AST, field: str, place: int | None) -> Iterator[_Change]:
        if _is_left_alone(node):
            return

        def put(new: ast.AST) -> None:
            if place is None:
                setattr(parent, field, new)
            else:
                getattr(parent, field)[place] = new

        if isinstance(node, ast.stmt) and _can_be_left_out(node, self.bound):
            yield self._change(node, "statement", ast.Pass(), put)
        if isinstance(node, ast.Raise):
            return
        for operator, new in _replacements(node):
            yield self._change(node, operator, new, put)
        if _is_condition(parent, field) and _is_worth_negating(node):
            yield self._change(node, "boolean", ast.UnaryOp(ast.Not(), copy.deepcopy(node)), put)
        if isinstance(node, ast.Assign | ast.AnnAssign | ast.For) and self.is_in_function:
            self.bound |= {
                one.id
                for one in ast.walk(node)
                if isinstance(one, ast.Name) and isinstance(one.ctx, ast.Store)
            }
        if isinstance(node, ast.FunctionDef | ast.ClassDef) and not self.is_in_function:
            yield from self._definition(node)
        else:
            yield from self._children(node)

    def _definition(self, node: ast.FunctionDef | ast.ClassDef) -> Iterator[_Change]:
        self.scope.append(node.name)
        self.is_in_function, self.bound = isinstance(node, ast.FunctionDef), set()
        yield from self._children(node)
        self.is_in_function, self.bound = False, set()
        self.scope.pop()

    def _change(self, node: ast.AST, operator: str, new: ast.AST, put: Callable[[ast.AST], None]) -> _Change:
        ast.copy_location(new, node)
        return _Change(
            node.lineno,  # type: ignore[attr-defined]  # only statements and expressions are replaced
            ".".join(self.scope) if self.is_in_function else "",
            operator,
            ast.unparse(node),
            ast.unparse(ast.fix_missing_locations(copy.deepcopy(new))),
            lambda: put(new),
        )


def _is_left_alone(node: ast.AST) -> bool:
    return (
        isinstance(node, ast.Import | ast.ImportFrom | ast.Assert | ast.JoinedStr)
        or (isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant))
        or (isinstance(node, ast.Subscript) and _name(node.value) == "Literal")
        or (isinstance(node, ast.keyword) and node.arg == "strict")
    )


def _can_be_left_out(node: ast.stmt, bound: set[str]) -> bool:
    if isinstance(node, ast.Assign):
        # Leaving out the first value of a name only makes a name that does not exist.
        return not all(isinstance(one, ast.Name) and one.id not in bound for one in node.targets)
    return isinstance(node, ast.Expr | ast.AugAssign | ast.Raise | ast.Continue | ast.Break)


def _replacements(node: ast.AST) -> Iterator[tuple[str, ast.AST]]:
    if isinstance(node, ast.Compare):
        for place, op in enumerate(node.ops):
            for other in COMPARISONS[type(op)]:
                yield "comparison", _with(node, ops=[*node.ops[:place], other(), *node.ops[place + 1 :]])
    elif isinstance(node, ast.BinOp | ast.AugAssign):
        if type(node.op) in OPERATORS and not _is_text(node):
            yield "arithmetic", _with(node, op=OPERATORS[type(node.op)]())
    elif isinstance(node, ast.UnaryOp):
        yield "arithmetic", copy.deepcopy(node.operand)
    elif isinstance(node, ast.BoolOp):
        yield "boolean", _with(node, op=ast.And() if isinstance(node.op, ast.Or) else ast.Or())
    elif isinstance(node, ast.Constant):
        yield from (("constant", ast.Constant(value)) for value in _other_values(node.value))
    elif isinstance(node, ast.Return):
        if node.value is not None and not isinstance(node.value, ast.Constant):
            yield "result", _with(node, value=ast.Constant(None))
    elif isinstance(node, ast.Call):
        yield from _other_calls(node)


def _other_values(value: object) -> tuple[object, ...]:
    if isinstance(value, bool):
        return (not value,)
    if isinstance(value, int | float):
        return (value + 1, type(value)(0)) if value else (value + 1,)
    return ()


def _other_calls(node: ast.Call) -> Iterator[tuple[str, ast.AST]]:
    name = _name(node.func)
    if name in EXTREMES:
        func = copy.deepcopy(node.func)
        if isinstance(func, ast.Attribute):
            func.attr = EXTREMES[name]
        elif isinstance(func, ast.Name):
            func.id = EXTREMES[name]
        yield "extreme", _with(node, func=func)
    if len(node.args) >= 2 and name not in SYMMETRIC and not isinstance(node.args[1], ast.Starred):
        first, second, *others = node.args
        if not isinstance(first, ast.Starred) and ast.dump(first) != ast.dump(second):
            yield "argument", _with(node, args=[second, first, *others])


def _with(node: ast.AST, **fields: object) -> ast.AST:
    new = copy.deepcopy(node)
    for name, value in fields.items():
        setattr(new, name, copy.deepcopy(value))
    return new


def _name(node: ast.AST) -> str:
    return getattr(node, "id", None) or getattr(node, "attr", None) or ""


def _is_text(node: ast.BinOp | ast.AugAssign) -> bool:
    sides = (node.left, node.right) if isinstance(node, ast.BinOp) else (node.value,)
    return any(
        isinstance(side, ast.JoinedStr) or (isinstance(side, ast.Constant) and isinstance(side.value, str))
        for side in sides
    )


def _is_condition(parent: ast.AST, field: str) -> bool:
    return field == "ifs" or (field == "test" and isinstance(parent, ast.If | ast.While | ast.IfExp))


def _is_worth_negating(test: ast.AST) -> bool:
    """A comparison is already turned round as such, and ``not`` is dropped as such."""
    is_not = isinstance(test, ast.UnaryOp) and isinstance(test.op, ast.Not)
    return not is_not and not isinstance(test, ast.Compare | ast.Constant)
