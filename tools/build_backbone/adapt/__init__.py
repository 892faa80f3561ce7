"""Adapts the frozen network once, on a GPU (python -m tools.build_backbone.adapt --help)."""
