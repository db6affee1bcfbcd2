"""Numbers in, numbers out: no files, no threads, no clock."""
