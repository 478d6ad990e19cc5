"""Let `python -m thermview` be the program."""

from thermview.cli.main import main

main()
