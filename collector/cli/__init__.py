"""The command `sieveward`: the one place where real objects are put together."""


def main() -> None:
    """Run the command."""
    from collector.cli.main import main as run  # so that one command's module can be imported without all the others

    run()
