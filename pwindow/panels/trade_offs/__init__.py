"""The page that shows what each choice costs."""
