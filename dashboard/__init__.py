"""The dashboard: the same answers as the command line, in a browser."""
