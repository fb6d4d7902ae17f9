"""What the trade knows, as data with its source and how far to trust it: finger sizes, stones, alloys, cautions."""
