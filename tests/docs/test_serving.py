"""The page on serving names every variable and every command as the code has them."""

import re
import shlex

import click

import pages
from layflat.cli.main import layflat_command

PAGE = pages.ROOT / "docs" / "serving.md"
VARIABLE = re.compile(r'"(LAYFLAT_[A-Z_]+|DATABASE_URL)"')


def test_every_environment_variable_is_named() -> None:
    web = (pages.ROOT / "src" / "layflat" / "web").rglob("*.py")
    read = {name for path in web for name in VARIABLE.findall(path.read_text(encoding="utf-8"))}
    text = PAGE.read_text(encoding="utf-8")
    table = text[text.index("## Every environment variable") :]
    assert set(re.findall(r"^\| `([A-Z_]+)`", table, re.MULTILINE)) == read
    assert set(re.findall(r"LAYFLAT_[A-Z_]+|DATABASE_URL", text)) <= read


def test_every_option_of_layflat_that_is_shown_exists() -> None:
    shells = [block.text for block in pages.blocks(PAGE) if block.language == "sh"]
    lines = [line for text in shells for line in text.splitlines() if line.startswith("layflat ")]
    assert lines
    context = click.Context(layflat_command)
    for line in lines:
        _, name, *arguments = shlex.split(line)
        command = layflat_command.get_command(context, name)
        assert command is not None
        known = {option for item in command.params for option in item.opts}
        assert {word for word in arguments if word.startswith("-")} <= known, line
