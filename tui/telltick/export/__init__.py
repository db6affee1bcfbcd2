"""Ways out: csv, json, captions."""
