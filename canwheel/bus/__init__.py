"""An adapter on the bus to a recording: open, listen only, record, never send."""

import logging

# python-can tells in log messages what it then raises. Without a handler of its own the logging
# module would print them on standard error, over the screen.
logging.getLogger("can").addHandler(logging.NullHandler())
