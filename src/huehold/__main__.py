"""`python -m huehold` is the command `huehold`."""

from huehold.cli import main

if __name__ == "__main__":
    main()
