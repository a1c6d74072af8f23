"""Store: keeps every lap and correction, loses nothing acknowledged, and undoes any change."""
