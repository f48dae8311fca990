"""The command line: commands, and what they print."""
