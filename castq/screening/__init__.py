"""The foundry engineer's desk: screen a design, compare two."""
