"""The version, told once."""

VERSION = "0.1.0"
