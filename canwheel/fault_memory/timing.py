"""How long to wait for a unit."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Timing:
    """Limits of every wait, so that nothing hangs. [s]

    Attributes
    ----------
    listen_first_s : how long the bus is listened to before the first request.
    p2_s : longest wait for an answer to begin. ISO 14229-2 gives a unit 50 ms (second-hand); a
        gateway on the way adds its own, and udsoncan's default is 1 s.
    p2_star_s : the same after the unit asked for more time; 5 s by the same standard.
    request_s : longest wait for one answer with all requests for more time in it; after it a busy
        unit is not asked again either.
    frame_s : longest pause inside an answer: N_Cr of ISO 15765-2, 1 s.
    transfer_s : longest one answer may take from its first frame to its last: 4095 bytes, the most
        that the transport carries, in frames 30 ms apart.
    busy_tries : how often a busy unit is asked again.
    busy_pause_s : pause before that.
    second_answer_s : how long after an answer another one would show that two units answer: both
        have had the same time to answer.
    extended_s : after this no further extended data are asked for.
    """

    listen_first_s: float = 1.0
    p2_s: float = 1.0
    p2_star_s: float = 5.0
    request_s: float = 30.0
    frame_s: float = 1.0
    transfer_s: float = 20.0
    busy_tries: int = 5
    busy_pause_s: float = 0.5
    second_answer_s: float = 0.1
    extended_s: float = 60.0

    @property
    def longest_request_s(self) -> float:
        """Longest that one request can take: once busy up to its limit, once more in full. [s]"""
        return 2 * self.request_s + self.busy_pause_s + self.transfer_s

    @property
    def longest_reading_s(self) -> float:
        """Longest that one reading can take, from the first frame sent. [s]"""
        return 2 * self.longest_request_s + self.second_answer_s + self.extended_s
