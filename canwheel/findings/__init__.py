"""What is wrong, with evidence: one module a kind of fault, one pure function in each."""

from canwheel.findings.examine import CHECKS, Examination, examine

__all__ = ["CHECKS", "Examination", "examine"]
