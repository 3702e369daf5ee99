"""Where requirements are met: maps, the recommended set-up, and the one to start from where none is assured."""
