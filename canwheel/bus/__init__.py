"""An adapter on the bus to a recording: open, listen only, record, never send."""

from canwheel.capture.library import import_can

# Every module here needs python-can; this way it comes without asammdf, which alone takes half a
# second to import where it is installed, and without its log messages on the screen: what it has
# to tell is raised and told by canwheel itself.
import_can()
