"""The same use cases on the command line."""


def main() -> None:
    """Run the command line; what a command needs is loaded when it runs, so that help comes at once."""
    from pitbird.cli.app import app

    app(prog_name="pitbird")
