"""Lets `python -m nightplan` stand in for the installed script."""

from nightplan.cli.main import main

main()
