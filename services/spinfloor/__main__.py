"""`python -m spinfloor` is the same as the command."""

from spinfloor.cli import main

if __name__ == "__main__":
    main()
