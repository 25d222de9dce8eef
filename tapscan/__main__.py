"""`python -m tapscan` is the same as `tapscan`."""

from tapscan.cli import main

if __name__ == "__main__":
    main()
