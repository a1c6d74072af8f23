"""The rooms of the code: imports run downward only, and the calculations stand alone."""

import ast
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
FLOORS = {
    "problems": 0,
    "records": 1,
    "study": 2,
    "flow": 3,
    "store": 4,
    "decisions": 4,
    "charts": 5,
    "bench": 5,
    "memo": 6,
    "tables": 6,
    "screens": 7,
    "__main__": 7,
}


def imports_between_rooms():
    """Yield (file, room, imported room) for every import of one of our rooms by another."""
    for file in sorted((ROOT / "analysis").rglob("*.py")):
        room = file.relative_to(ROOT / "analysis").parts[0].removesuffix(".py")
        for node in ast.walk(ast.parse(file.read_text())):
            names = []
            if isinstance(node, ast.ImportFrom) and node.module:
                names = [node.module, *(f"{node.module}.{a.name}" for a in node.names)]
            elif isinstance(node, ast.Import):
                names = [alias.name for alias in node.names]
            for name in names:
                parts = name.split(".")
                if parts[0] == "analysis" and len(parts) > 1 and parts[1] in FLOORS:
                    yield file.relative_to(ROOT), room, parts[1]


def test_no_room_reaches_up_or_sideways():
    rooms = list(imports_between_rooms())
    steps = [
        f"{file} ({room}) imports {other}"
        for file, room, other in rooms
        if room != other and FLOORS[other] >= FLOORS[room]
    ]
    assert len(rooms) > 10
    assert steps == []


@pytest.mark.parametrize("room", ["records", "study", "flow", "decisions"])
def test_calculations_run_without_screen_or_database(room):
    modules = [
        ".".join(file.relative_to(ROOT).with_suffix("").parts)
        for file in sorted((ROOT / "analysis" / room).glob("*.py"))
        if file.name != "__init__.py"
    ]
    assert modules
    script = (
        "import sys\n"
        "for name in ('streamlit', 'sqlalchemy', 'altair', 'alembic'): sys.modules[name] = None\n"
        f"import importlib\nfor module in {modules!r}: importlib.import_module(module)\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", script], cwd=ROOT, capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stderr


def test_each_room_says_its_promise_and_holds_no_code():
    for folder in sorted((ROOT / "analysis").rglob("__init__.py")):
        tree = ast.parse(folder.read_text())
        assert ast.get_docstring(tree), folder
        assert len(tree.body) == 1, f"{folder} holds code"
