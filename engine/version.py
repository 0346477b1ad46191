"""The version, apart from the package's head so that anybody may name it."""

__version__ = "0.19.0"
