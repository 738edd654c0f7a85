"""Builds, settings, the search, ranking, runs, reports and the command line."""

from importlib.metadata import PackageNotFoundError, version

try:
    VERSION = version("shimwright")
except PackageNotFoundError:  # imported from a checkout that was never installed
    VERSION = "0+unknown"
