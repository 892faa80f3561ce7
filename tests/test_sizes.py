"""The house's own rules: sizes of modules and functions, tests that run, no pickles, no prints."""

import ast
import subprocess
from functools import cache

import pytest
from common import ROOT

MOST_LINES, MOST_BODY = 600, 60
USUAL_LINES, USUAL_SHARE = 300, 0.9
TRACKED = subprocess.run(
    ["git", "ls-files", "*.py"], cwd=ROOT, capture_output=True, text=True, check=False
).stdout.split()
pytestmark = pytest.mark.skipif(not TRACKED, reason="the tests do not run in a checkout of git")


@cache
def parsed(name):
    text = (ROOT / name).read_text(encoding="utf-8")
    return text, ast.parse(text)


def trees(*folders):
    for name in TRACKED:
        if name.startswith(folders) and (ROOT / name).exists():
            yield name, *parsed(name)


def test_no_module_is_over_600_lines_and_most_are_under_300():
    lines = {name: text.count("\n") for name, text, _ in trees("triage/")}
    assert [name for name, count in lines.items() if count > MOST_LINES] == []
    assert sum(count <= USUAL_LINES for count in lines.values()) >= USUAL_SHARE * len(lines)


def test_no_function_body_is_over_60_lines():
    long = [
        f"{name}:{node.lineno} {node.name}"
        for name, _, tree in trees("triage/")
        for node in ast.walk(tree)
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef)
        and node.end_lineno - node.body[0].lineno + 1 > MOST_BODY
    ]
    assert long == []


def nested_tests(tree):
    return [
        inner.name
        for outer in ast.walk(tree)
        if isinstance(outer, ast.FunctionDef)
        for inner in ast.walk(outer)
        if inner is not outer and isinstance(inner, ast.FunctionDef) and inner.name.startswith("test_")
    ]


def test_no_test_stands_inside_another_function_where_it_never_runs():
    assert {name: found for name, _, tree in trees("tests/") if (found := nested_tests(tree))} == {}
    assert nested_tests(ast.parse("def test_a():\n    def test_b():\n        pass")) == ["test_b"]


def imported(name, tree, modules):
    """The modules that a file imports, anywhere in it; what only a type checker reads is left out."""
    package = name.split(".") if modules[name] else name.split(".")[:-1]
    found = set()
    nodes = [tree]
    while nodes:
        node = nodes.pop()
        if isinstance(node, ast.If) and "TYPE_CHECKING" in ast.unparse(node.test):
            nodes += node.orelse
            continue
        if isinstance(node, ast.Import):
            found |= {one.name for one in node.names}
        elif isinstance(node, ast.ImportFrom):
            above = package[: len(package) - node.level + 1] if node.level else []
            base = ".".join([*above, *filter(None, [node.module])])
            found |= {f"{base}.{one.name}" if f"{base}.{one.name}" in modules else base for one in node.names}
        nodes += ast.iter_child_nodes(node)
    return (found & modules.keys()) - {name}


def circles(files):
    """The files that import each other, directly or through others; `files` is {path: tree}."""
    modules = {
        name.removesuffix(".py").removesuffix("/__init__").replace("/", "."): name.endswith("__init__.py")
        for name in files
    }
    imports = {
        name: imported(name, tree, modules) for name, tree in zip(modules, files.values(), strict=True)
    }
    while free := {name for name, wanted in imports.items() if not wanted}:
        imports = {name: wanted - free for name, wanted in imports.items() if name not in free}
    return sorted(imports)


def test_no_two_files_import_each_other():
    assert circles({name: tree for name, _, tree in trees("triage/")}) == []
    two = {"a/b.py": "from a import c", "a/c.py": "def f():\n    from a.b import x", "a/d.py": "import a.c"}
    assert circles({name: ast.parse(text) for name, text in two.items()}) == ["a.b", "a.c", "a.d"]
    two["a/c.py"] = "if TYPE_CHECKING:\n    from .b import x"
    assert circles({name: ast.parse(text) for name, text in two.items()}) == []


def test_tests_of_the_package_need_no_tool():
    """What tests and benches both draw is in tests/simulated; tests of tools have folders of their own."""
    own = ("tests/of_tools/", "tests/render/")
    found = [
        f"{name}:{node.lineno}"
        for name, _, tree in trees("tests/")
        if not name.startswith(own)
        for node in ast.walk(tree)
        if isinstance(node, ast.Import | ast.ImportFrom)
        for one in (node.names if isinstance(node, ast.Import) else [node])
        if (getattr(one, "module", None) or getattr(one, "name", "")).split(".")[0] == "tools"
    ]
    assert found == []


def test_the_package_holds_no_pickle_no_bare_except_and_prints_in_commands_only():
    faults = []
    for name, _, tree in trees("triage/"):
        for node in ast.walk(tree):
            if isinstance(node, ast.Import | ast.ImportFrom):
                names = [one.name for one in node.names] + [getattr(node, "module", None) or ""]
                faults += [f"{name}: {one}" for one in names if one.split(".")[0] in ("pickle", "joblib")]
            elif isinstance(node, ast.ExceptHandler) and node.type is None:
                faults.append(f"{name}:{node.lineno} bare except")
            elif (
                isinstance(node, ast.Call) and getattr(node.func, "id", "") == "print" and "/cli/" not in name
            ):
                faults.append(f"{name}:{node.lineno} print")
    assert faults == []
