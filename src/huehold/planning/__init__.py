"""Planning a titration before anything is weighed: how much of what, how far, how long, how well.

`huehold.planning.plan.make_plan` turns a `huehold.planning.request.PlanRequest` into a `Plan`.
Masses and uncertainty come from the assay's own calculation, pH, colour and time from the
virtual bench.
"""
