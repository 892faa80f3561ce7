"""One module per format."""
