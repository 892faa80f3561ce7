"""What people run from a checkout."""
