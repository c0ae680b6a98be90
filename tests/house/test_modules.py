"""What every module of the package keeps to."""

from __future__ import annotations

import ast
import importlib
import subprocess
import sys
from pathlib import Path

import pytest

import tubwater

PACKAGE = Path(tubwater.__file__).parent
MODULES = sorted(PACKAGE.rglob("*.py"))
MOST_LINES = 400
# Modules that are tables more than code may be longer.
TABLES: frozenset[str] = frozenset()
PURE = ("chemistry", "tub", "measurement", "dynamics", "belief", "advice")
# A clock, chance, a disk, a net, another process: what a pure function has no business with.
IMPURE = {"io", "logging", "os", "pathlib", "random", "secrets", "socket", "subprocess", "tempfile", "time", "urllib"}
FACES = {"argparse", "click", "fastapi", "flask", "jinja2", "rich", "starlette", "typer", "uvicorn"}
STORES = {"alembic", "psycopg", "sqlalchemy", "sqlite3"}
CLOCKS = frozenset({"now", "today", "utcnow"})


def name_of(path: Path) -> str:
    """The dotted name of a module."""
    parts = ("tubwater", *path.relative_to(PACKAGE).with_suffix("").parts)
    return ".".join(parts[:-1] if parts[-1] == "__init__" else parts)


def tree_of(path: Path) -> ast.Module:
    """The syntax tree of a module."""
    return ast.parse(path.read_text(encoding="utf-8"))


def imports_of(tree: ast.AST) -> set[str]:
    """The dotted names that a module imports."""
    names = {alias.name for node in ast.walk(tree) if isinstance(node, ast.Import) for alias in node.names}
    return names | {node.module or "" for node in ast.walk(tree) if isinstance(node, ast.ImportFrom)}


def public_names(tree: ast.Module) -> set[str]:
    """The public names that a module defines at its top level, without its own short names for types."""
    names: set[str] = set()
    for node in tree.body:
        if isinstance(node, ast.FunctionDef | ast.ClassDef | ast.AsyncFunctionDef):
            names.add(node.name)
        elif isinstance(node, ast.Assign | ast.AnnAssign) and not isinstance(node.value, ast.Subscript):
            targets = node.targets if isinstance(node, ast.Assign) else [node.target]
            names |= {target.id for target in targets if isinstance(target, ast.Name)}
    return {name for name in names if not name.startswith("_")}


def is_public(path: Path) -> bool:
    """Whether a module is meant for others."""
    return not any(part.startswith("_") for part in name_of(path).split("."))


def by_name(paths: list[Path]) -> list[object]:
    """Parameters that show as the names of modules."""
    return [pytest.param(path, id=name_of(path)) for path in paths]


def in_packages(names: tuple[str, ...]) -> list[Path]:
    """The modules of some packages, whether such a package is a folder or a file."""
    return [path for path in MODULES if path.relative_to(PACKAGE).with_suffix("").parts[0] in names]


@pytest.mark.parametrize("path", by_name(MODULES))
def test_a_module_says_what_it_is_for(path: Path) -> None:
    assert ast.get_docstring(tree_of(path)), f"{name_of(path)} has no docstring"


@pytest.mark.parametrize("path", by_name([path for path in MODULES if is_public(path)]))
def test_all_of_a_public_module_lists_every_public_name_and_no_other(path: Path) -> None:
    module = importlib.import_module(name_of(path))
    defined = public_names(tree_of(path))
    offered = getattr(module, "__all__", [] if not defined else None)
    assert offered is not None, f"{name_of(path)} has no __all__"
    assert len(offered) == len(set(offered))
    assert [name for name in offered if not hasattr(module, name)] == []
    assert defined - set(offered) == set()


@pytest.mark.parametrize("path", by_name([path for path in MODULES if name_of(path) not in TABLES]))
def test_a_module_is_short_unless_it_is_a_table(path: Path) -> None:
    assert len(path.read_text(encoding="utf-8").splitlines()) < MOST_LINES


def test_every_table_named_here_exists() -> None:
    assert {name_of(path) for path in MODULES} >= TABLES


@pytest.mark.parametrize("path", by_name(in_packages(PURE)))
def test_the_core_touches_no_clock_no_disk_and_no_chance(path: Path) -> None:
    tree = tree_of(path)
    assert {name.split(".")[0] for name in imports_of(tree)} & IMPURE == set()
    calls = [node.func for node in ast.walk(tree) if isinstance(node, ast.Call)]
    clocks = [func.attr for func in calls if isinstance(func, ast.Attribute) and func.attr in CLOCKS]
    assert clocks == []


@pytest.mark.parametrize("path", by_name(in_packages(("errors", "units", "facts", "services", *PURE))))
def test_nothing_from_services_down_knows_a_face_or_a_database(path: Path) -> None:
    assert {name.split(".")[0] for name in imports_of(tree_of(path))} & (FACES | STORES) == set()


@pytest.mark.parametrize("path", by_name(in_packages(("chemistry",))))
def test_chemistry_imports_numpy_errors_and_units_only(path: Path) -> None:
    ours = ("tubwater.chemistry", "tubwater.errors", "tubwater.units")
    for name in imports_of(tree_of(path)):
        top = name.split(".")[0]
        assert top == "numpy" or top in sys.stdlib_module_names or name.startswith(ours), name


def test_help_comes_without_loading_anything_heavy() -> None:
    program = "import sys\ntry:\n    from tubwater.main import main; main(['--help'])\nexcept SystemExit: pass\n"
    program += "print(*sys.modules, file=sys.stderr)"
    done = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, check=True)
    assert "usage: tubwater" in done.stdout
    loaded = set(done.stderr.split())
    assert loaded & {"numpy", "scipy", "sqlalchemy", "asyncio", "tubwater.chemistry", "tubwater.services"} == set()
