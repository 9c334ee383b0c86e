"""The version of this program, for recordings, reports and `--version`."""

VERSION = "0.1.0"
