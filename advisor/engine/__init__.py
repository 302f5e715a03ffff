"""A forward-chaining engine over strata with three-valued conditions and full provenance.

It speaks of facts, rules, demands and axes, and knows nothing of the trade that uses it.
"""
