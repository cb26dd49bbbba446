"""The lumped plant's own equations as C: its Python function, read and written out again.

So there is one source. Takes functions whose bodies are sums and products of names, with abs and
sqrt, and nothing else; anything else is an assertion.
"""

import ast
import inspect
import textwrap

from emberbed_sim.plant.thermal import ThermalNetwork

SIGNS = {ast.Add: "+", ast.Sub: "-", ast.Mult: "*"}
CALLS = {"sqrt": "ROOT", "abs": "SIZE"}


def flows_in_c() -> str:
    """Return `ThermalNetwork._flows_w` as the body of a C function.

    It reads the arguments by their names, `COUPLING(n)` and `BLOWN(n)`, and sets `flow[n]`.
    """
    text = textwrap.dedent(inspect.getsource(ThermalNetwork._flows_w))
    (function,) = ast.parse(text).body
    assert isinstance(function, ast.FunctionDef)
    set_before = {one.arg for one in function.args.args}
    lines: list[str] = []
    for statement in function.body[1:]:  # after the docstring
        lines += _statement(statement, set_before)
    return "\n".join(lines)


def _statement(statement: ast.stmt, known: set[str]) -> list[str]:
    if isinstance(statement, ast.Return):
        assert isinstance(statement.value, ast.Tuple)
        return [f"flow[{n}] = {_value(one)};" for n, one in enumerate(statement.value.elts)]
    if isinstance(statement, ast.AugAssign):
        sign = SIGNS[type(statement.op)]
        name = _name(statement.target)
        return [f"{name} = {name} {sign} ({_value(statement.value)});"]
    assert isinstance(statement, ast.Assign), ast.dump(statement)
    (target,) = statement.targets
    if isinstance(target, ast.Tuple):
        return _unpacked(target, statement.value, known)
    name = _name(target)
    kind = "" if name in known else "real "
    known.add(name)
    return [f"{kind}{name} = {_value(statement.value)};"]


def _unpacked(target: ast.Tuple, value: ast.expr, known: set[str]) -> list[str]:
    names = [_name(one) for one in target.elts]
    known.update(names)
    if isinstance(value, ast.Tuple):
        return [f"real {n} = {_value(v)};" for n, v in zip(names, value.elts, strict=True)]
    source = ast.unparse(value)
    macro = {"self._couplings": "COUPLING", "blown": "BLOWN"}[source]
    return [f"real {name} = {macro}({n});" for n, name in enumerate(names)]


def _value(node: ast.expr) -> str:
    if isinstance(node, ast.Name):
        return node.id
    if isinstance(node, ast.UnaryOp) and isinstance(node.op, ast.USub):
        return f"(-{_value(node.operand)})"
    if isinstance(node, ast.BinOp):
        return f"({_value(node.left)} {SIGNS[type(node.op)]} {_value(node.right)})"
    assert isinstance(node, ast.Call) and len(node.args) == 1, ast.dump(node)
    return f"{CALLS[_name(node.func)]}({_value(node.args[0])})"


def _name(node: ast.expr) -> str:
    assert isinstance(node, ast.Name), ast.dump(node)
    return node.id
