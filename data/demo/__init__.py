"""An invented site: its ground, its weather, its beetles and the rounds walked on it."""
