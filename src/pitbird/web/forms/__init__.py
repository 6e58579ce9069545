"""Forms that write entries: one machinery, one table of questions, a few forms of their own."""
