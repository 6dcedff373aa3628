"""The command line, one file a command.

Only `click` is imported on the way to the help text: what a command needs, it imports when it runs.
"""

from canwheel.cli.app import main

__all__ = ["main"]
