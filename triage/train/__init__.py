"""The train room."""
