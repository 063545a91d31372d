"""``python -m fieldlog`` is the ``fieldlog`` command."""

from fieldlog.cli import main

if __name__ == "__main__":
    main()
