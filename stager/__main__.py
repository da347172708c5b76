"""`python -m stager`."""

from stager.cli import main

if __name__ == "__main__":
    main()
