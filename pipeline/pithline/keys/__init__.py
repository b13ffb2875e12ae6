"""What a person may write in a TOML file: readers of values, and keys declared once, on the fields they fill."""
