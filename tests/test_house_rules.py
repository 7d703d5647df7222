"""House rules: imports run one way, formulas name their source, public arguments stand in docstrings."""

import ast
import re

import pytest

# Each room imports only from those before it (DEVELOPERS.md says why describe stands after devices).
ROOMS = ("errors", "files", "quantities", "linear", "devices", "describe", "balance", "studies", "design", "bench",
         "show", "cli", "__main__")


def sources(root):
    return sorted((root / "hbsim").rglob("*.py"))


def room_of(path, root):
    parts = path.relative_to(root / "hbsim").with_suffix("").parts
    return parts[0]


def imported_rooms(tree, path, root):
    """Rooms that a module imports from inside hbsim, with the line."""
    package = path.relative_to(root).with_suffix("").parts[:-1]
    for node in ast.walk(tree):
        if isinstance(node, ast.ImportFrom) and node.level:
            base = package[:len(package) - node.level + 1]
            full = base + tuple((node.module or "").split(".") if node.module else ())
            if len(full) > 1:
                yield full[1], node.lineno
            else:
                yield from ((alias.name, node.lineno) for alias in node.names if alias.name in ROOMS)
        elif isinstance(node, ast.ImportFrom) and node.module and node.module.split(".")[0] == "hbsim":
            yield (node.module.split(".") + [node.names[0].name])[1], node.lineno


def test_imports_run_one_way(root):
    wrong = []
    for path in sources(root):
        room = room_of(path, root)
        if room == "__init__":
            continue
        assert room in ROOMS, f"{path.name} stands in no known room; name it in ROOMS"
        for other, line in imported_rooms(ast.parse(path.read_text()), path, root):
            if other in ROOMS and ROOMS.index(other) > ROOMS.index(room):
                wrong.append(f"{path.relative_to(root)}:{line} imports {other}, which is above it")
    assert not wrong, "\n".join(wrong)


def test_lines_fit_a_page(root):
    wide = [f"{p.relative_to(root)}:{n}" for folder in ("hbsim", "tests", "benchmarks", "examples")
            for p in sorted((root / folder).rglob("*.py"))
            for n, line in enumerate(p.read_text().splitlines(), 1) if len(line) > 120]
    assert not wide, "lines of more than 120 characters: " + ", ".join(wide)


def test_files_are_small(root):
    long = [f"{p.relative_to(root)}: {n} lines" for p in sources(root) if (n := len(p.read_text().splitlines())) > 420]
    assert not long, "modules that ask to be two: " + ", ".join(long)


@pytest.mark.parametrize("folder", ["devices", "linear/microstrip"])
def test_every_formula_file_names_its_source(root, folder):
    published = re.compile(r"\b(19|20)\d\d\b")  # a publication has a year
    for path in sorted((root / "hbsim" / folder).glob("*.py")):
        text = path.read_text()
        if path.name == "__init__.py" or "def " not in text or path.name in ("contract.py", "kinds.py", "limits.py"):
            continue
        assert published.search(text), f"{path.relative_to(root)} names no published source"


def test_every_model_says_where_its_numbers_come_from(root):
    import tomllib
    for path in sorted((root / "models").rglob("*.toml")):
        tree = tomllib.loads(path.read_text())
        assert tree.get("title") and tree.get("about") and tree.get("origin"), path.name
        if path.parent.name in ("transistors", "diodes"):
            assert "invented" in tree["about"].lower(), path.name


def test_public_functions_are_documented_and_typed(root):
    wrong = []
    for path in sources(root):
        tree = ast.parse(path.read_text())
        for node in tree.body:
            functions = [node] if isinstance(node, ast.FunctionDef) else []
            if isinstance(node, ast.ClassDef) and not node.name.startswith("_"):
                if not ast.get_docstring(node):
                    wrong.append(f"{path.relative_to(root)}:{node.lineno} class {node.name} has no docstring")
                functions = [f for f in node.body if isinstance(f, ast.FunctionDef)]
            for function in functions:
                if function.name.startswith("_"):
                    continue
                compiled = any("njit" in ast.unparse(d) or "cfunc" in ast.unparse(d) for d in function.decorator_list)
                overrides = isinstance(node, ast.ClassDef) and node.bases
                if not ast.get_docstring(function) and not overrides and not compiled:
                    wrong.append(f"{path.relative_to(root)}:{function.lineno} {function.name} has no docstring")
                arguments = [a for a in function.args.args + function.args.kwonlyargs if a.arg not in ("self", "cls")]
                if not compiled and any(a.annotation is None for a in arguments):
                    wrong.append(f"{path.relative_to(root)}:{function.lineno} {function.name} has untyped arguments")
    assert not wrong, "\n".join(wrong)


def test_nothing_of_the_workplace_is_named(root):
    # A path from the top of some machine's folders (devices and processes are everywhere), or where packages come from.
    path_of_a_machine = r"""(?m)(?:^|[\s"'`(\[{<=:,])/(?!dev/|proc/|usr/bin/env\b)[\w.-]+/"""
    suspicious = re.compile(path_of_a_machine + r"|index[-_]url|pip\.conf")
    for path in ("/".join(("", "folder", "file")), "'" + "/".join(("", "a.b", ""))):
        assert suspicious.search(f"x = {path}")
    assert not suspicious.search("https://example.org/a/b, /dev/null, m/s/K, hbsim/describe/nodes.py")
    for path in [p for p in root.rglob("*") if p.suffix in (".py", ".md", ".toml")
                 and not {"build", ".venv", "site-packages"} & set(p.parts)]:
        assert not (found := suspicious.search(path.read_text())), f"{path.relative_to(root)}: {found[0]}"
