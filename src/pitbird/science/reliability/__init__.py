"""Failures that show only at tests: failure rates, life, hidden failure, look-back.

Times are plain numbers in one unit of the caller's choice; every fit is the same in days, hours and years.
An observation is an interval ``(left, right]``, open on the left and closed on the right: the sensor was good
at ``left`` and found failed at ``right``; ``right`` infinite, still good at ``left``; ``left`` 0, failed by
its first test.

- `spans`: observations, checked; rows of tests to observations.
- `exponential`: a constant rate: estimate, limits, and a posterior with a gamma prior.
- `weibull`: a rate that rises or falls with age: shape and scale with profile limits.
- `npmle`: the life distribution without a form, with its certificate.
- `groups`: rates of several groups at once, and whether they differ.
- `intervals`: how much failure goes unnoticed between tests.
- `actual_log`: the same for tests as they were: gaps from a log, time in use.
- `bands`: limits of what is worked out from a fitted life.
- `look_back`: when, between the last pass and the first fail, the failure may have come.
"""
