"""Completion scripts, made from the parser itself so that they cannot fall behind it."""

from __future__ import annotations

import argparse

__all__ = ["script"]


def script(shell: str, parser: argparse.ArgumentParser) -> str:
    """The completion script of bash, zsh or fish."""
    makers = {"bash": _bash, "zsh": _zsh, "fish": _fish}
    return makers[shell](_options(parser))


def _options(parser: argparse.ArgumentParser) -> dict[str, list[str]]:
    """The options of each command."""
    for action in parser._actions:
        if isinstance(action, argparse._SubParsersAction):
            return {name: _words(sub) for name, sub in action.choices.items()}
    return {}


def _words(parser: argparse.ArgumentParser) -> list[str]:
    choices = [
        str(choice) for action in parser._actions if not action.option_strings for choice in action.choices or ()
    ]
    return choices + [
        option for action in parser._actions for option in action.option_strings if option.startswith("--")
    ]


def _bash(options: dict[str, list[str]]) -> str:
    cases = "\n".join(f'    {name}) words="{" ".join(words)}" ;;' for name, words in options.items())
    return f"""_tubwater() {{
  local words="{" ".join(options)}"
  [ "$COMP_CWORD" -gt 1 ] && case "${{COMP_WORDS[1]}}" in
{cases}
  esac
  COMPREPLY=($(compgen -W "$words" -- "${{COMP_WORDS[COMP_CWORD]}}"))
}}
complete -o default -F _tubwater tubwater"""


def _zsh(options: dict[str, list[str]]) -> str:
    return "autoload -U +X bashcompinit && bashcompinit\n" + _bash(options)


def _fish(options: dict[str, list[str]]) -> str:
    lines = [f"complete -c tubwater -n __fish_use_subcommand -f -a '{' '.join(options)}'"]
    for name, words in options.items():
        long = [f"-l {word[2:]}" for word in words if word.startswith("--")]
        seen = f"complete -c tubwater -n '__fish_seen_subcommand_from {name}'"
        lines += [f"{seen} {option}" for option in long]
        plain = [word for word in words if not word.startswith("--")]
        lines += [f"{seen} -f -a '{' '.join(plain)}'"] if plain else []
    return "\n".join(lines)
