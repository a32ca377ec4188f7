"""The answers in words, tables and JSON: every face speaks through these rooms, and none of them computes."""
