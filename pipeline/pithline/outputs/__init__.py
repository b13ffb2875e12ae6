"""Sheets, templates, labels, previews: made from the script alone."""
