"""The house: imports point one way, and nobody reaches past a part's door."""

import ast
import re
import subprocess
import sys
import tomllib
from pathlib import Path

import layflat

SOURCE = Path(layflat.__file__).parent
PARTS = sorted(path.parent.name for path in SOURCE.glob("*/__init__.py"))


def imported_modules(path: Path) -> list[str]:
    found: list[str] = []
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            found += [alias.name for alias in node.names]
        elif isinstance(node, ast.ImportFrom) and node.module:
            found.append(node.module)
    return found


def test_the_parts_are_those_of_the_design() -> None:
    assert PARTS == [
        "base", "cli", "cut", "demo", "exchange", "film", "fit", "job", "nest", "papers", "pattern",
        "photo", "plan", "revise", "send", "surface", "web",
    ]  # fmt: skip


def test_imports_point_one_way() -> None:
    # In a process of its own: the checker silences every logger that there is.
    command = [
        sys.executable,
        "-c",
        "from importlinter.cli import lint_imports_command as run; run()",
    ]
    found = subprocess.run(
        [*command, "--no-cache", "--no-logo"],
        cwd=SOURCE.parent.parent,
        capture_output=True,
        text=True,
        check=False,
    )
    assert found.returncode == 0, found.stdout + found.stderr


def levels_of_the_app() -> dict[str, int]:
    """Each part's height, from 0 at the bottom, as the import rules have it."""
    rules = tomllib.loads((SOURCE.parent.parent / "pyproject.toml").read_text(encoding="utf-8"))
    (layers,) = (
        rule["layers"]
        for rule in rules["tool"]["importlinter"]["contracts"]
        if rule.get("containers") == ["layflat.web"]
    )
    return {
        part: level for level, layer in enumerate(reversed(layers)) for part in layer.split(" | ")
    }


def test_templates_of_the_app_point_the_same_way() -> None:
    web, level = SOURCE / "web", levels_of_the_app()
    libraries = {path.stem: path.parent.parent.name for path in web.glob("*/templatetags/*.py")}
    wrong = []
    for path in web.glob("*/templates/**/*.html"):
        part = path.relative_to(web).parts[0]
        text = path.read_text(encoding="utf-8")
        used = re.findall(r'{% (?:include|extends) "(\w+)/', text)
        names = [name for line in re.findall(r"{% load ([\w ]+) %}", text) for name in line.split()]
        used += [libraries[name] for name in names if name in libraries]
        wrong += [
            f"{path.relative_to(web)}: {other}"
            for other in used
            if other != part and level[other] >= level[part]
        ]
    assert wrong == []


def test_parts_import_each_other_by_their_public_names_only() -> None:
    past_the_door = [
        f"{path.relative_to(SOURCE)}: {module}"
        for path in SOURCE.rglob("*.py")
        for module in imported_modules(path)
        if module.startswith("layflat.")
        and module.count(".") > 1
        and module.split(".")[1] != path.relative_to(SOURCE).parts[0]
    ]
    assert past_the_door == []


def test_no_module_is_too_long_for_the_head() -> None:
    long = {
        str(path.relative_to(SOURCE)): lines
        for path in SOURCE.rglob("*.py")
        if (lines := len(path.read_text(encoding="utf-8").splitlines())) > 400
    }
    assert long == {}
