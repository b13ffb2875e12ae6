"""Published trade relations: shrinkage, moisture, log rules, weights."""
