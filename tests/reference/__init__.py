"""Reference values from other programs; see README.md beside this file."""
