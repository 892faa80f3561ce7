"""The package's version, importable without the package's other names."""

__version__ = "0.1.0"
