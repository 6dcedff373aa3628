"""Findings to a verdict, two verdicts to a proof, advice and cautions."""
