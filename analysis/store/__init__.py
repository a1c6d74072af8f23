"""Store: keeps every lap and every correction, loses nothing it has acknowledged, and can undo each change."""
