"""Site rules as data, the decision they lead to, and the words for it."""
