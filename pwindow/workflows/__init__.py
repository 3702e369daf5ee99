"""What a person does with an archive: add, hold, refit, compare, confirm; the one place that joins it with statistics."""
