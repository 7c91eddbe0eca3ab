"""Benchmarks; each prints ratios measured in one run, none is a test."""
