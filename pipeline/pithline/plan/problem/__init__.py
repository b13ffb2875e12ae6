"""What is asked: the log in the planner's frame, parts, layouts, effort and objective."""
