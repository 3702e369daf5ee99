"""The page that takes trials in and keeps them."""
