"""What to build: candidates compared and free design variables explored, all on the same cars."""
