"""Whether test gas sets off the alarms of a detector in the time it is on, and what loss a pass could hide.

``judging.judge`` puts one detector to one cylinder; ``fleet`` a whole fleet to every cylinder at once.
"""
