"""Lets ``python -m dewpond`` do what the ``dewpond`` command does."""

from dewpond.cli import main

if __name__ == "__main__":
    main()
