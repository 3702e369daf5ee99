"""Where no set-up is assured: how close it comes, what conflicts, and what would do."""
