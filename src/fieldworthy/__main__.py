"""Run the commands by ``python -m fieldworthy``."""

from fieldworthy.cli import main

if __name__ == "__main__":
    main()
