"""Speed and memory as ratios measured within one run: ``python -m tests.benchmarks``."""
