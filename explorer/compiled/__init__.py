"""The functions of a program as machine code: written down once from themselves, an optional extra."""
