"""bandgen."""
