"""Which criterion a grader rejects when a drawn joint shows a fault."""

# Codes in the order in which the first that applies to the joint is taken.
CRITERIA_BY_FAULT: dict[str, tuple[str, ...]] = {
    "wrap_short": ("F-01", "F-03", "F-02"),
    "wrap_long": ("F-01", "F-06", "F-07"),
    "wire_not_on_base": ("F-05", "F-08", "F-09"),
    "clearance_none": ("S-06", "S-05"),
    "clearance_wide": ("S-05",),
    "insufficient": ("S-03", "S-11", "S-14"),
    "excess": ("S-04", "S-12"),
    "nonwetted": ("S-01", "S-02", "S-15"),
    "dewetted": ("S-01", "S-02", "S-15"),
    "cold": ("S-08", "S-10"),
    "disturbed": ("S-09", "S-08"),
    "icicle": ("S-08",),
    "bridge": ("S-08",),
    "strand_nicked": ("P-01", "P-09"),
    "strand_out": ("F-10", "F-07", "P-02"),
    "birdcage": ("P-02",),
    "insulation_burnt": ("S-07", "P-03"),
    "insulation_cut": ("P-03",),
    "flux_residue": ("C-01",),
    "cup_underfilled": ("S-11",),
    "cup_overflow": ("S-12",),
    "cup_not_seated": ("F-11",),
    "hole_underfilled": ("S-14",),
    "hole_no_wetting": ("S-16", "S-15"),
    "lead_too_long": ("F-12",),
    "tinning_gap_none": ("P-06",),
    "tinning_uneven": ("P-07",),
}

# What a grader writes beside a reject, now and then.
NOTES = {
    "wrap_short": "Leaves the post before it is half way round.",
    "clearance_wide": "Strip length was right, the wire slipped out before soldering.",
    "clearance_none": "Insulation ran into the fillet.",
    "excess": "Strands cannot be seen on the left.",
    "insufficient": "Fillet stops short of the far side.",
    "cold": "Dull all over; the tip was not on the post.",
    "disturbed": "Moved while it set.",
    "strand_nicked": "Two strands at the edge of the insulation.",
    "flux_residue": "Brown ring behind the post.",
    "cup_overflow": "Run down the outside of the cup.",
    "hole_underfilled": "Light comes through beside the lead.",
    "tinning_gap_none": "Stiff up to the insulation.",
}

# How often each fault turns up, where a kind of joint can show it.
WEIGHTS = {
    "clearance_wide": 5,
    "wrap_short": 3,
    "excess": 3,
    "insufficient": 3,
    "flux_residue": 3,
    "strand_nicked": 2,
    "clearance_none": 2,
    "cold": 2,
    "disturbed": 2,
}
