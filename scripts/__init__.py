"""How the work is run: the command line, set-up and benchmarks."""
