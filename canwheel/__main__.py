"""``python -m canwheel``."""

from canwheel.cli import main

if __name__ == "__main__":
    main()
