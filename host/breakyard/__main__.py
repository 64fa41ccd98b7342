"""`python -m breakyard` is the command `breakyard`."""

from breakyard.cli.app import main

if __name__ == "__main__":
    main()
