"""What the cases beside a rule base exercise of its rules (`rules`), and each of them run once."""
