"""Facts as frozen dataclasses, and the pure rules that hold among them; stdlib and numpy only."""
