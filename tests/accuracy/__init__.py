"""Groups of simulated recordings, read and scored: ``python -m tests.accuracy --help``."""
