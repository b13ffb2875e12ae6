"""Whole logs and many logs: card to script, appraisal, season."""
