"""Small changes of rules (`mutants`), and whether cases notice them (`score`).

`noticing` tells which cases could notice a change at all, so that few are run; `surviving` looks
for the case that nobody wrote.
"""
