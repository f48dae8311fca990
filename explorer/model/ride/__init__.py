"""The car in motion on its springs: bumps, crests and gusts in time."""
