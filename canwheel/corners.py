"""The four corners of the car: order, wording, and which side the driver sits on.

Left and right are as seen from the driver's seat facing forward, whichever side that seat is on
(SAE convention, from memory). Arrays with an axis for the corners have them in the order of
``CORNERS``: front left, front right, rear left, rear right.
"""

from enum import StrEnum
from typing import Literal

Side = Literal["left", "right"]


class Corner(StrEnum):
    """One corner; its value is the code that documents use."""

    FL = "FL"
    FR = "FR"
    RL = "RL"
    RR = "RR"

    @property
    def position(self) -> int:
        """Position on the corner axis of every array, 0 to 3."""
        return CORNERS.index(self)

    @property
    def axle(self) -> Literal["front", "rear"]:
        """The axle that it is on."""
        return "front" if self.value[0] == "F" else "rear"

    @property
    def side(self) -> Side:
        """The side that it is on, seen from the driver's seat."""
        return "left" if self.value[1] == "L" else "right"

    @property
    def mirror(self) -> "Corner":
        """The other corner of the same axle."""
        return Corner(self.value[0] + ("R" if self.side == "left" else "L"))

    @property
    def same_side(self) -> "Corner":
        """The corner of the other axle on the same side."""
        return Corner(("R" if self.axle == "front" else "F") + self.value[1])

    @property
    def words(self) -> str:
        """``front left``."""
        return f"{self.axle} {self.side}"

    def described(self, drive_side: Side | None) -> str:
        """Return the corner spelt out, with the driver's or passenger's side where it is known.

        Parameters
        ----------
        drive_side : side the steering wheel is on, or None when nobody said.
        """
        if drive_side is None:
            return self.words
        return f"{self.words} ({self.whose_side(drive_side)})"

    def whose_side(self, drive_side: Side) -> str:
        """``driver's side`` or ``passenger's side``, by where the steering wheel is."""
        return "driver's side" if self.side == drive_side else "passenger's side"


CORNERS = (Corner.FL, Corner.FR, Corner.RL, Corner.RR)
