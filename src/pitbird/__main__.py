"""``python -m pitbird``: the command line."""

from pitbird.cli import main

main()
