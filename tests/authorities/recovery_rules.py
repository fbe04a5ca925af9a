"""Certification and military recovery limits, as read or remembered.

Read: 14 CFR 23.221, page scan p. 206 of the 1-1-2014 edition (normal: 1 turn or 3 s, 1 additional turn); AC 61-67C
chapter 4 in a copy (acrobatic: 6 turns or 3 s, 1.5 additional turns); two published quotations of JAR 22.221 (c), (d),
(e); MIL-STD-1797A appendix A 4.8.4.3.2, scan p. 657 (class I rows). FROM_MEMORY is from memory, not re-read.

Columns: rule key, turns before, "or" seconds, recovery turns, loss ft.
"""

VERIFIED = [
    ("14-cfr-23.221-normal", 1.0, 3.0, 1.0, None),
    ("14-cfr-23.221-acrobatic", 6.0, 3.0, 1.5, None),
    ("cs-22.221-intentional", 5.0, None, 1.0, None),
    ("cs-22.221-one-turn", 1.0, None, 1.0, None),
    ("mil-class-i-ab", None, None, 1.5, 1000.0),
    ("mil-class-i-pa", None, None, 1.0, 800.0),
]
VERIFIED_LIMIT_ONLY = [("cs-22.221-not-approved", 1.5)]
FROM_MEMORY = [
    ("14-cfr-23.2150", 6.0, None, 1.5, None),
    ("cs-23.221-normal", 1.0, 3.0, 1.0, None),
    ("cs-vla-221", 1.0, 3.0, 1.0, None),
    ("astm-f2245-not-intentional", 1.0, 3.0, 1.0, None),
    ("astm-f2245-intentional", 3.0, None, 1.5, None),
    ("mil-other-ab", None, None, 2.0, 5000.0),
    ("mil-other-pa", None, None, 1.0, 1000.0),
]
