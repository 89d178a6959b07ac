"""Benchmarks: ``python -m tests.benchmarks [names…]`` prints measured tables as Markdown."""
