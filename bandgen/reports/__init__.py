"""What is told of a band beside its solid: numbers with their working, never a kernel."""
