"""What the records mean: pure functions on tables and arrays, without files, clock or printing."""
