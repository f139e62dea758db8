"""The command line's help lists every command, once, in lines that are not cut off."""

from __future__ import annotations

from click.testing import CliRunner

from corromap.cli import main
from corromap.cli_options import SECTIONS


def test_every_command_is_listed_once():
    listed = [name for commands in SECTIONS.values() for name in commands]
    assert sorted(listed) == sorted(main.commands)


def test_the_help_names_each_command_with_what_it_does_on_one_line():
    lines = CliRunner().invoke(main, ["--help"], terminal_width=80).output.splitlines()
    for commands in SECTIONS.values():
        for name, text in commands.items():
            assert [line.split(maxsplit=1) for line in lines].count([name, text]) == 1
