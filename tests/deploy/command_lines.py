"""Whether a command line of a document or a service is one that the command takes."""

from typer.main import get_command

from collector.cli.main import app


def refusal(words):
    """What the command says against these words (without `sieveward` in front), or nothing."""
    command, words = get_command(app), list(words)
    while hasattr(command, "commands"):
        name = words.pop(0) if words else ""
        if name in ("--help", ""):
            return "" if name else "it names no command"
        if name not in command.commands:
            return f"there is no command '{name}'"
        command = command.commands[name]
    if "--help" in words:
        return ""
    try:
        command.make_context(name, words).close()
    except Exception as error:  # typer carries its own copy of click's errors
        return getattr(error, "message", "") or str(error)
    return ""
