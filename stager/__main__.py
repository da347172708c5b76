"""`python -m stager`."""

from stager.cli import main

main()
