"""From findings to a plan: trials and items of rows to the rules of planning, and back."""
