"""Labels: rows, files, settling, and in which order photos are asked about."""
