"""Statistics on plain arrays: they know neither the study nor the engine."""
