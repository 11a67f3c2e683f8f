"""`python -m validator.cli`."""

from validator.cli import main

main()
